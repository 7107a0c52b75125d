"""From single standard uncertainties to a combined one, its degrees of freedom and its coverage factor."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from harness.judge.uncertainty.checked import Floats, checked, checked_dof

PLAIN_FACTOR = 2.0
"""The coverage factor that is taken where no probability is asked for."""


def combined(standard: npt.ArrayLike) -> Floats:
    """What independent standard uncertainties come to together.

    Args:
        standard: shape (k,) or (k, n): k components, any one unit, sensitivity included, >= 0.
    Returns:
        root of the sum of squares over the first axis, shape () or (n,), same unit.
    Raises:
        NotFinite: a component is negative or not finite.
    Source:
        JCGM 100:2008, 5.1.2, equation (10).
    """
    parts = checked("combined uncertainty", "a component", standard, least=0.0)
    return np.asarray(np.sqrt(np.sum(parts * parts, axis=0)), dtype=np.float64)


def effective_dof(standard: npt.ArrayLike, dof: npt.ArrayLike) -> Floats:
    """How many degrees of freedom a combined standard uncertainty has.

    Args:
        standard: shape (k,) or (k, n): k components, any one unit, sensitivity included, >= 0.
        dof: degrees of freedom of each, same shape, >= 1, infinity allowed.
    Returns:
        shape () or (n,); infinity where no component of finite degrees of freedom counts.
    Raises:
        NotFinite: a component is negative or not finite, or has less than one degree of freedom.
    Source:
        Welch-Satterthwaite, JCGM 100:2008, G.4.1, equation (G.2b).
    """
    parts = checked("degrees of freedom", "a component", standard, least=0.0)
    freedom = checked_dof("degrees of freedom", dof)
    # Scaled by the largest, for fourth powers of small numbers vanish.
    scale = np.max(parts, axis=0, initial=0.0)
    scaled = parts / np.where(scale > 0.0, scale, 1.0)
    below = np.sum(scaled**4 / freedom, axis=0)
    total = np.sum(scaled**2, axis=0)
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(below > 0.0, total**2 / np.where(below > 0.0, below, 1.0), np.inf))


def dof_of_doubt(doubt_ratio: float) -> float:
    """How many degrees of freedom an estimated standard uncertainty deserves.

    Args:
        doubt_ratio: how far the standard uncertainty itself may be off, relative to it, > 0, at most 0.7.
    Returns:
        degrees of freedom: 50 for a tenth, 2 for a half.
    Raises:
        NotFinite: the doubt is outside its bounds.
    Source:
        JCGM 100:2008, G.4.2, equation (G.3).
    """
    doubt = float(checked("degrees of freedom", "doubt_ratio", doubt_ratio, least=0.0, most=0.7, open_at="least"))
    return 0.5 / doubt**2


def student_factor(dof: npt.ArrayLike, *, probability_ratio: float, whole_dof: bool = False) -> Floats:
    """Which coverage factor gives an interval a stated probability.

    Args:
        dof: degrees of freedom, any shape, >= 1, infinity allowed.
        probability_ratio: of the symmetric interval, 0 to 1, both excluded.
        whole_dof: cut the degrees of freedom to the next lower whole number first.
    Returns:
        two-sided quantile of Student's distribution, same shape.
    Raises:
        NotFinite: degrees of freedom below 1, or a probability outside its bounds.
    Source:
        JCGM 100:2008, G.3.4 and table G.2; G.6.4 allows the cut and the interpolation.
    """
    freedom = checked_dof("coverage factor", dof)
    where = "coverage factor"
    p = float(checked(where, "probability_ratio", probability_ratio, least=0.0, most=1.0, open_at="both"))
    from scipy.special import ndtri, stdtrit

    quantile = (1.0 + p) / 2.0
    bounded = np.isfinite(freedom)
    whole = np.where(bounded, np.floor(freedom) if whole_dof else freedom, 1.0)
    return np.asarray(np.where(bounded, stdtrit(whole, quantile), ndtri(quantile)), dtype=np.float64)


def coverage_factor(dof: npt.ArrayLike, *, probability_ratio: float | None = None, whole_dof: bool = False) -> Floats:
    """Which coverage factor expands a standard uncertainty.

    Args:
        dof: degrees of freedom, any shape, >= 1, infinity allowed.
        probability_ratio: of the interval; None takes k = 2 whatever the degrees of freedom.
        whole_dof: as student_factor.
    Returns:
        k, same shape.
    Raises:
        NotFinite: as student_factor.
    Source:
        JCGM 100:2008, 6.3.3 (k = 2) and G.3.
    """
    if probability_ratio is None:
        return np.full(np.shape(checked_dof("coverage factor", dof)), PLAIN_FACTOR)
    return student_factor(dof, probability_ratio=probability_ratio, whole_dof=whole_dof)
