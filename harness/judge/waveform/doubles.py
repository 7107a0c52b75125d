"""W2': codes that an arithmetic reduction fills twice."""

from __future__ import annotations

import math

import numpy as np

from harness.judge.waveform.lattice import ROUNDINGS, inner, reach
from harness.judge.waveform.record import Floats, Integers, Seen
from harness.judge.waveform.result import FOUND_DISTANCE, WaveformTest, decided, gaussian_llr, unmet
from harness.judge.waveform.step_size import codes_followed

UNEVEN_LSB = 0.2
"""rms width error of a code that the test allows for."""
WINDOW = 21
FULL_RATIO = 1.6
"""A code with so many times its neighbours' count is called double (common practice)."""


def double_ratio(codes: Integers) -> float:
    """Which share of the inner codes holds far more samples than its neighbours.

    Args:
        codes: shape (n,), whole numbers.
    Returns:
        share of codes with count over running median (21 codes) above 1.6; 0 for fewer than 21 codes.
    Source:
        common practice, no source; numbers in tests/judge_waveform/test_published_gaps.py.
    """
    counts = np.bincount(codes - int(codes.min())).astype(np.float64)
    if counts.size < WINDOW:
        return 0.0
    windows = np.lib.stride_tricks.sliding_window_view(counts, WINDOW)
    medians = np.median(windows, axis=1)
    middle = counts[WINDOW // 2 : WINDOW // 2 + medians.size]
    return float(np.mean(middle > FULL_RATIO * np.maximum(medians, 1e-9)))


def doubled_codes(
    a: Seen, b: Seen, *, ratio: float, origins: tuple[int, ...] = (0,), u_ratio_percent: float = 0.1
) -> WaveformTest:
    """Whether the codes that a reduction would fill twice hold more samples than the others.

    Args:
        a: the reference setting.
        b: the setting that is less sensitive by name.
        ratio: name of b over name of a, < 1.
        origins: codes that a multiplication may leave in place.
        u_ratio_percent: standard uncertainty of the ratio of the two drive levels, percent.
    Returns:
        the test.
    Source:
        common practice, no source (test W2'): share (1 - m)/m of the codes; derived in tests/judge_waveform.
    """
    if ratio >= 1.0:
        return unmet("W2'", "a magnification fills no code twice: see W2")
    for name, seen in (("reference", a), ("setting", b)):
        if not seen.plain:
            return unmet("W2'", f"{name}: {seen.not_plain}")
    if not (a.whole and b.whole):
        return unmet("W2'", "the values are no whole codes")
    if a.grid > 1.0 or b.grid > 1.0:
        return unmet("W2'", "the converter has lost low bits: its codes lie on a coarser grid")
    low, high = inner(b.fit, 1.0)
    if high - low < 16:
        return unmet("W2'", "too few codes inside the record: raise the level")
    counts, hits = b.counts_between(low, high), b.expected_between(low, high)
    patterns: dict[bytes, Integers] = {}
    for origin in origins:
        for _, rounding in ROUNDINGS:
            sources = reach(ratio, rounding, low=low, high=high, origin=origin)
            patterns.setdefault(sources.tobytes(), sources)
    found = [one for sources in patterns.values() if (one := _excess(counts, hits, sources)) is not None]
    if not found:
        return unmet("W2'", f"×{ratio:.5g} fills all codes alike: nothing to see")
    llrs = [gaussian_llr(value, hardware=0.0, arithmetic=goal, u=u) for value, goal, u in found]
    best = int(np.argmin(llrs))
    value, goal, u = found[best]
    text = f"codes that ×{ratio:.5g} fills more often hold ×{math.exp(value):.3f}; arithmetic ×{math.exp(goal):.3f}"
    if goal < FOUND_DISTANCE * u:
        return unmet("W2'", f"{text} (±{200.0 * u:.2g} %): take more samples")
    llr = math.log(len(llrs)) - math.log(sum(math.exp(llrs[best] - one) for one in llrs)) + llrs[best]
    if llr > 0.0 and not codes_followed(a, b, ratio=ratio, u_ratio_percent=u_ratio_percent):
        return unmet("W2'", f"{text}; but the codes are not known to have followed: the scale alone may have changed")
    return decided("W2'", llr, text, None, factor=ratio if llr < 0.0 else None)


def _excess(counts: Integers, hits: Floats, sources: Integers) -> tuple[float, float, float] | None:
    """Logarithm of the excess in the fuller codes, what arithmetic expects, and the standard uncertainty."""
    full = sources == sources.max()
    if not full.any() or full.all():
        return None
    in_full, in_rest = float(counts[full].sum()), float(counts[~full].sum())
    if in_full < 10.0 or in_rest < 10.0:
        return None
    value = math.log(in_full / float(hits[full].sum())) - math.log(in_rest / float(hits[~full].sum()))
    goal = math.log(float(sources[full].mean()) / float(sources[~full].mean()))
    uneven = UNEVEN_LSB**2 * (1.0 / int(full.sum()) + 1.0 / int((~full).sum()))
    return value, goal, math.sqrt(1.0 / in_full + 1.0 / in_rest + uneven)
