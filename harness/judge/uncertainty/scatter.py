"""How well a scatter is known: a standard deviation, its degrees of freedom, what one scatter has more than another."""

from __future__ import annotations

import math

import numpy as np

from harness.judge.uncertainty.checked import Floats, checked, checked_dof
from harness.judge.uncertainty.noise import QUANTISATION_VARIANCE

HARMONICS = 50
"""Of the rounding error that are added up where there is little noise."""
QUIET_DEVIATION_CODE = 1.0
"""Above this rounding pulls a standard deviation by less than 1e-6 of a code."""


def deviation_ratio(dof: float) -> float:
    """How far a standard deviation from few observations is uncertain, relative to itself.

    Args:
        dof: degrees of freedom, >= 1: observations less one.
    Returns:
        √(1 - c4²)/c4, with c4 = √(2/ν)·Γ((ν + 1)/2)/Γ(ν/2); 1/√(2ν) for many.
    Raises:
        NotFinite: fewer than one degree of freedom.
    Source:
        JCGM 100:2008, E.4.3 and table E.1 (0.24 for 10 observations); the chi distribution.
    """
    freedom = float(checked_dof("standard deviation", dof))
    if math.isinf(freedom):
        return 0.0
    c4 = math.sqrt(2.0 / freedom) * math.exp(math.lgamma((freedom + 1.0) / 2.0) - math.lgamma(freedom / 2.0))
    # Beyond this the difference of two nearly equal numbers is worse than the first term of the series.
    return math.sqrt(1.0 - c4 * c4) / c4 if freedom < 1e5 else 1.0 / math.sqrt(2.0 * freedom)


def scatter_dof(samples: Floats) -> float:
    """How many degrees of freedom the standard deviation of a record has: fewer than samples where they hang together.

    Args:
        samples: shape (n,), evenly spaced in time, any one unit, n >= 2.
    Returns:
        (n - 1)/(1 + 2·Σρ²) over the first √n correlations, at least 1: n - 1 of white noise but for chance. Hum counts
        as noise that hangs together, which is on the safe side.
    Raises:
        NotFinite: a sample is not finite, or there are fewer than two.
    Source:
        variance of a sample variance of normal noise, 2σ⁴·Σρ²/n (Bartlett's formula, textbook, from memory).
    """
    where = "degrees of freedom of a scatter"
    values = checked(where, "a sample", samples)
    count = int(checked(where, "samples", values.size, least=2))
    centred = values - values.mean()
    power = float(centred @ centred)
    if power == 0.0:
        return count - 1.0
    lags = range(1, math.isqrt(count) + 1)
    shared = sum((float(centred[lag:] @ centred[:-lag]) / power) ** 2 for lag in lags)
    # Of white noise each square comes to 1/n by chance.
    shared = max(shared - len(lags) / count, 0.0)
    return max((count - 1.0) / (1.0 + 2.0 * shared), 1.0)


def rounding_of_deviation_code(deviation_code: float) -> float:
    """How far rounding to codes may have pulled a standard deviation, which no averaging mends.

    Args:
        deviation_code: of the codes, rms code steps, >= 0.
    Returns:
        half width, code steps: the farthest that √(σ² + 1/12) can be from it, over all noises σ that may show like this
        at some place of the mean between two codes; 0 above one code step, where rounding averages out.
    Raises:
        NotFinite: the deviation is negative or not finite.
    Source:
        variance of a rounded normal variable, σ² + 1/12 + Σ ±cos(2πkμ)·(1/(πk)² + 4σ²)·exp(-2(πkσ)²) less the square of
        the mean error (Widrow, Kollár and Liu, IEEE TIM 45(2) 1996, from memory); held against exact sums in
        tests/judge_uncertainty.
    """
    deviation = float(checked("rounding of a scatter", "deviation_code", deviation_code, least=0.0))
    if deviation > QUIET_DEVIATION_CODE:
        return 0.0
    noise = np.linspace(0.0, deviation + 0.5, 401)
    order = np.arange(1.0, HARMONICS + 1.0)[:, np.newaxis]
    fading = np.exp(-2.0 * (math.pi * order * noise) ** 2)
    swing = np.sum((1.0 / (math.pi * order) ** 2 + 4.0 * noise**2) * fading, axis=0)
    total = noise**2 + QUANTISATION_VARIANCE
    # What is left out of the sum, and the step of the grid.
    slack = 1.0 / (math.pi**2 * HARMONICS) + 0.002 * deviation
    possible = total[(total - swing - slack <= deviation**2) & (deviation**2 <= total + swing + slack)]
    return float(np.max(np.abs(np.sqrt(possible) - deviation)))


def added_variance_interval(
    without: float, added_to: float, *, dof: tuple[float, float], probability_ratio: float
) -> tuple[float, float]:
    """Between which bounds the variance lies that one scatter has more than another.

    Args:
        without: variance of the one, any one unit, >= 0.
        added_to: variance of the other, same unit, >= 0.
        dof: degrees of freedom of each, in this order, >= 1, finite.
        probability_ratio: of the interval with equal tails, 0 to 1, both excluded.
    Returns:
        lower and upper bound of the difference of the true variances; a lower bound of at most 0 exactly where the F
        test of that tail finds no difference.
    Raises:
        NotFinite: an argument is outside its bounds.
    Source:
        modified large-sample interval: Ting, Burdick, Graybill, Jeyaratnam and Lu, J. Statist. Comput. Simul. 35 (1990)
        135, from memory; exact where one of the variances is 0 (chi-square); drawn in tests/judge_uncertainty.
    """
    where = "added scatter"
    small, large = (float(checked(where, "a variance", value, least=0.0)) for value in (without, added_to))
    below, above = (float(checked(where, "dof", value, least=1.0)) for value in dof)
    p = float(checked(where, "probability_ratio", probability_ratio, least=0.0, most=1.0, open_at="both"))
    from scipy.special import chdtri, fdtri

    tail = (1.0 - p) / 2.0
    f_high, f_low = float(fdtri(above, below, 1.0 - tail)), float(fdtri(above, below, tail))
    # Shares of each variance by which its own chi-square bounds lie apart from it.
    large_down, large_up = 1.0 - above / float(chdtri(above, tail)), above / float(chdtri(above, 1.0 - tail)) - 1.0
    small_down, small_up = 1.0 - below / float(chdtri(below, tail)), below / float(chdtri(below, 1.0 - tail)) - 1.0
    cross_low = ((f_high - 1.0) ** 2 - (large_down * f_high) ** 2 - small_up**2) / f_high
    cross_high = ((1.0 - f_low) ** 2 - (large_up * f_low) ** 2 - small_down**2) / f_low
    down = (large_down * large) ** 2 + (small_up * small) ** 2 + cross_low * large * small
    up = (large_up * large) ** 2 + (small_down * small) ** 2 + cross_high * large * small
    return large - small - math.sqrt(max(down, 0.0)), large - small + math.sqrt(max(up, 0.0))
