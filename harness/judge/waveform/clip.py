"""W4: the clip level referred to the input."""

from __future__ import annotations

import math

import numpy as np

from harness.judge.waveform.record import Record, Seen
from harness.judge.waveform.result import FOUND_DISTANCE, WaveformTest, decided, gaussian_llr, unmet

LEVEL_RATIO = 0.005
"""How well a clip level is known, relative."""
FLAT_RATIO = 0.05
"""Share of the samples that must stand at each plateau."""


def clip_level(a: Seen, b: Seen, over_a: Record, over_b: Record, *, ratio: float, beyond_screen: bool) -> WaveformTest:
    """Whether the more sensitive setting clips at less input.

    Args:
        a: the reference setting, not clipped: gives its gain.
        b: the setting that is `ratio` times more sensitive by name, not clipped.
        over_a: the reference driven into clipping, within the device's maximum input.
        over_b: the setting driven into clipping.
        ratio: name of b over name of a, > 0, not 1.
        beyond_screen: the record is known to hold values beyond the displayed range, so that a plateau is the
            converter's and not the screen's.
    Returns:
        the test; it says hardware only where the plateau is known to be the converter's.
    Source:
        common practice, no source (test W4).
    """
    for name, seen in (("reference", a), ("setting", b)):
        if not seen.plain:
            return unmet("W4", f"{name}: {seen.not_plain}")
    half_a, half_b = _plateau(over_a), _plateau(over_b)
    if half_a is None or half_b is None:
        return unmet("W4", f"no plateau holding {100.0 * FLAT_RATIO:.0f} % of the samples on both sides: not clipped")
    input_a_v, input_b_v = half_a / a.gain_per_v, half_b / b.gain_per_v
    value, u = math.log(input_b_v / input_a_v), LEVEL_RATIO * math.sqrt(2.0)
    llr = gaussian_llr(value, hardware=-math.log(ratio), arithmetic=0.0, u=u)
    text = f"clips at {input_a_v:.4g} V peak at the reference and at {input_b_v:.4g} V here, named ×{ratio:.4g}"
    if llr > 0.0 and not beyond_screen:
        return unmet("W4", f"{text}: the record may be cropped to the screen, which looks like hardware")
    return decided("W4", llr, text, math.exp(FOUND_DISTANCE * u))


def _plateau(over: Record) -> float | None:
    """Half the distance of two plateaus, delivered units; None when the record is not clipped on both sides."""
    samples = np.asarray(over.samples, dtype=np.float64)
    high, low = float(np.quantile(samples, 0.98)), float(np.quantile(samples, 0.02))
    near = 0.005 * (high - low) / 2.0
    top, bottom = float(np.mean(samples >= high - near)), float(np.mean(samples <= low + near))
    # An unclipped sine spends 3.2 % of its time within half a percent of its peak.
    if min(top, bottom) < max(FLAT_RATIO, 0.02) + 0.032 or high <= low:
        return None
    return (high - low) / 2.0
