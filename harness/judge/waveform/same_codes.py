"""W7: the same codes at the same input."""

from __future__ import annotations

import math

from harness.judge.waveform.histogram import counted_in, expected_in
from harness.judge.waveform.record import Floats, Seen
from harness.judge.waveform.result import WaveformTest, decided, unmet

SAME_DRIVE_RATIO = 1e-3
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
    if a.grid <= 0.0 or b.grid <= 0.0:
        return unmet("W7", "the values lie on no grid")
    from scipy.special import chdtrc, chndtr  # not scipy.stats: that costs half a second to import

    edges = a.bins.edges
    if edges.size - 1 < LEAST_BINS:
        return unmet("W7", "too few codes for a histogram: raise the level or take more samples")
    statistic = _distance(a.bins.counts, counted_in(edges, *b.step_counts))
    freedom = edges.size - 2
    apart = _distance(a.bins.expected, expected_in(edges, a.mean, a.grid, a.noise_steps, ratio=ratio))
    if apart < freedom + CLEAR * math.sqrt(2.0 * freedom):
        return unmet("W7", f"×{ratio:.5g} would move the histogram by {apart:.0f} at {freedom} degrees: too little")
    same = float(chdtrc(freedom, statistic))
    scaled = float(chndtr(statistic, freedom, apart))
    llr = math.log(max(scaled, 1e-300)) - math.log(max(same, 1e-300))
    text = f"chi-square {statistic:.0f} for {freedom} degrees of freedom; hardware would add {apart:.0f}"
    if llr > 0.0 and not (a.record.raw and b.record.raw):
        return unmet("W7", f"{text}: the codes differ, but they are not known to be raw")
    return decided("W7", llr, text, None, factor=ratio if llr < 0.0 else None)


def _distance(one: Floats, other: Floats) -> float:
    """Chi-square of two histograms of the same number of samples."""
    total = one + other
    filled = total > 0.0
    return float((((one - other) ** 2)[filled] / total[filled]).sum())
