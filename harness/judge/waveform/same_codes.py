"""W7: the same codes at the same input."""

from __future__ import annotations

import math

import numpy as np

from harness.judge.waveform.lattice import visits
from harness.judge.waveform.record import Floats, Seen
from harness.judge.waveform.result import WaveformTest, decided, unmet

SAME_DRIVE_RATIO = 1e-3
LEAST_COUNT = 20.0
LEAST_BINS = 5
CLEAR = 6.0
"""Standard deviations between the two hypotheses: samples of a sine are spread more evenly than chance, so the
statistic comes out low, and a small distance must not be read into that."""


def same_codes(a: Seen, b: Seen, *, ratio: float) -> WaveformTest:
    """Whether two settings deliver identically distributed codes at one fixed input.

    Args:
        a: the reference setting.
        b: the setting that is `ratio` times more sensitive by name, driven alike.
        ratio: name of b over name of a, > 0, not 1.
    Returns:
        the test; equal codes say arithmetic; other codes say hardware only where they are known to be raw, for
        arithmetic on the codes moves them as well.
    Source:
        common practice, no source (test W7): chi-square of two histograms; the power is that of the reference's
        histogram against the same stretched by the ratio.
    """
    for name, seen in (("reference", a), ("setting", b)):
        if not seen.plain:
            return unmet("W7", f"{name}: {seen.not_plain}")
    if abs(a.record.drive_vpk / b.record.drive_vpk - 1.0) > SAME_DRIVE_RATIO:
        return unmet("W7", "the two records were not driven alike")
    steps_a, steps_b = a.steps, b.steps
    if steps_a is None or steps_b is None:
        return unmet("W7", "the values lie on no grid")
    from scipy.special import chdtrc, chndtr  # not scipy.stats: that costs half a second to import

    edges = _edges(a)
    if edges.size - 1 < LEAST_BINS:
        return unmet("W7", "too few codes for a histogram: raise the level or take more samples")
    counts_a, counts_b = (np.histogram(steps, bins=edges)[0].astype(np.float64) for steps in (steps_a, steps_b))
    statistic = _distance(counts_a, counts_b)
    freedom = edges.size - 2
    apart = _distance(_expected(a, 1.0, edges), _expected(a, ratio, edges))
    if apart < freedom + CLEAR * math.sqrt(2.0 * freedom):
        return unmet("W7", f"×{ratio:.5g} would move the histogram by {apart:.0f} at {freedom} degrees: too little")
    same = float(chdtrc(freedom, statistic))
    scaled = float(chndtr(statistic, freedom, apart))
    llr = math.log(max(scaled, 1e-300)) - math.log(max(same, 1e-300))
    text = f"chi-square {statistic:.0f} for {freedom} degrees of freedom; hardware would add {apart:.0f}"
    if llr > 0.0 and not (a.record.raw and b.record.raw):
        return unmet("W7", f"{text}: the codes differ, but they are not known to be raw")
    return decided("W7", llr, text, None, factor=ratio if llr < 0.0 else None)


def _edges(a: Seen) -> Floats:
    """Edges between steps such that each bin of the reference holds enough samples; the ends are open."""
    if a.steps is None:
        return np.zeros(0)
    values, counts = np.unique(a.steps, return_counts=True)
    edges, held = [-np.inf], 0.0
    for value, count in zip(values[:-1].tolist(), counts[:-1].tolist(), strict=True):
        held += count
        if held >= LEAST_COUNT:
            edges.append(value + 0.5)
            held = 0.0
    return np.array([*edges, np.inf])


def _expected(a: Seen, ratio: float, edges: Floats) -> Floats:
    """Histogram of the reference's sine, stretched by the ratio, noise included."""
    expected = visits(ratio * a.mean / a.grid, max(ratio, 1.0) * a.noise_steps)
    places = expected.first + np.arange(expected.hits.size, dtype=np.float64)
    return np.histogram(places, bins=edges, weights=expected.hits)[0].astype(np.float64)


def _distance(one: Floats, other: Floats) -> float:
    """Chi-square of two histograms of the same number of samples."""
    total = one + other
    filled = total > 0.0
    return float((((one - other) ** 2)[filled] / total[filled]).sum())
