"""W6: the offset referred to the input."""

from __future__ import annotations

import math

from harness.judge.waveform.record import Floats
from harness.judge.waveform.result import WaveformTest, decided, unmet

LEAST_PAIRS = 4
SIGNIFICANT = 0.01


def offset_change(offsets_a_v: Floats, offsets_b_v: Floats, *, dc_coupled: bool, resolution_v: float) -> WaveformTest:
    """Whether the offset referred to the input changed, which arithmetic cannot do.

    Args:
        offsets_a_v: shape (n,), n >= 4, offset over gain at the reference, V, taken in turn with the other's.
        offsets_b_v: shape (n,), the same at the setting, source at the same level.
        dc_coupled: the path passes DC; else there is no offset to compare.
        resolution_v: changes below it may come from rounding, V, > 0.
    Returns:
        the test; it can say hardware, never arithmetic: a well auto-zeroed design changes nothing either.
    Source:
        common practice, no source (test W6); paired t test.
    """
    if not dc_coupled:
        return unmet("W6", "the device file does not say that the path is DC coupled: input.coupling")
    if offsets_a_v.shape != offsets_b_v.shape or offsets_a_v.size < LEAST_PAIRS:
        return unmet(
            "W6", f"{offsets_a_v.size} and {offsets_b_v.size} offsets; allowed are {LEAST_PAIRS} pairs or more"
        )
    changes = offsets_b_v - offsets_a_v
    mean, scatter = float(changes.mean()), float(changes.std(ddof=1))
    count = changes.size
    from scipy.special import stdtr, stdtrit

    # What nine of ten series would show, at the level at which the test speaks.
    seen_v = max(resolution_v, scatter / math.sqrt(count) * float(stdtrit(count - 1, 1.0 - SIGNIFICANT / 2.0) + 1.28))
    text = (
        f"offset at the input moved by {1e6 * mean:.3g} µV (scatter {1e6 * scatter:.2g} µV, {count} pairs; "
        f"{1e6 * seen_v:.3g} µV could be seen)"
    )
    if abs(mean) < resolution_v or scatter <= 0.0:
        return decided("W6", 0.0, f"{text}: no more than rounding explains", None)
    statistic = mean / (scatter / math.sqrt(count))
    chance = 2.0 * float(stdtr(count - 1, -abs(statistic)))
    if chance > SIGNIFICANT:
        return decided("W6", 0.0, f"{text}: not significant", None)
    return decided("W6", -math.log(max(chance, 1e-300)), text, None)
