"""W4: the clip level referred to the input."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.errors import FitFailed
from harness.judge.waveform.record import Seen
from harness.judge.waveform.result import FOUND_DISTANCE, WaveformTest, decided, gaussian_llr, unmet

LEVEL_RATIO = 0.005
"""How well a clip level is known, relative."""
MISFIT = 2.5
"""Standard deviations from both expectations at which neither is believed: a mixed step lies between."""
AS_NAMED_RATIO = 0.05
"""A gain this near to its name's is hardware's if it is hardware: then the measured one counts, without its error."""
FLAT_RATIO = 0.05
"""Share of the samples that must stand at each plateau."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Overdriven:
    """Where a record ends that was driven beyond full scale, delivered units."""

    low: float
    high: float
    flat: bool
    """Whether it stands still at both ends: it is clipped there, and not only at its peaks."""

    @property
    def half(self) -> float:
        """Half the distance of the ends."""
        return (self.high - self.low) / 2.0


def overdriven(samples: npt.ArrayLike) -> Overdriven:
    """Where an overdriven record ends.

    Args:
        samples: shape (n,), n >= 1, delivered units, driven at least a tenth beyond full scale.
    Returns:
        both ends, and whether they are plateaus.
    Raises:
        FitFailed: no samples.
    Source:
        an unclipped sine spends acos(1 - 0.005)/pi = 3.2 % of its time within half a percent of a peak.
    """
    values = np.asarray(samples, dtype=np.float64)
    if values.size == 0:
        raise FitFailed("overdriven record: it holds no samples; fetch it again")
    high, low = float(np.quantile(values, 0.98)), float(np.quantile(values, 0.02))
    near = 0.005 * (high - low) / 2.0
    least = min(float(np.mean(values >= high - near)), float(np.mean(values <= low + near)))
    return Overdriven(low=low, high=high, flat=high > low and least >= FLAT_RATIO + 0.032)


def clip_level(
    a: Seen, b: Seen, over_a: Overdriven, over_b: Overdriven, *, ratio: float, beyond_screen: bool
) -> WaveformTest:
    """Whether the more sensitive setting clips at less input.

    A setting that does not clip at all, where hardware would have, clips at more than what was put in.

    Args:
        a: the reference setting, not clipped: gives its gain.
        b: the setting that is `ratio` times more sensitive by name, not clipped.
        over_a: the reference driven into clipping, within the device's maximum input.
        over_b: the setting driven to where it clips if it is hardware.
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
    if not over_a.flat:
        return unmet("W4", f"no plateau holding {100.0 * FLAT_RATIO:.0f} % of the samples at the reference's two ends")
    input_a_v, input_b_v = over_a.half / a.gain_per_v, over_b.half / b.gain_per_v
    value, u = math.log(input_b_v / input_a_v), LEVEL_RATIO * math.sqrt(2.0)
    moved = math.log(b.gain_per_v / a.gain_per_v)
    hardware = -moved if abs(moved - math.log(ratio)) < AS_NAMED_RATIO else -math.log(ratio)
    more = "" if over_b.flat else "more than "
    text = f"clips at {input_a_v:.4g} V peak at the reference and at {more}{input_b_v:.4g} V here, named ×{ratio:.4g}"
    power_m = math.exp(FOUND_DISTANCE * u)
    if not over_b.flat:
        # As likely as anything by arithmetic up to the reference's level; by hardware only through the level's error.
        further = (value - hardware) * math.copysign(1.0, math.log(ratio))
        if further < MISFIT * u or ratio < 1.0:
            return unmet("W4", f"{text}: the setting was not driven far enough to clip")
        return decided("W4", -((further / u) ** 2) / 2.0, text, power_m)
    if min(abs(value), abs(value - hardware)) > MISFIT * u:
        part = math.exp(value - hardware)
        text = f"{text}: ×{part:.4g} is arithmetic (±{200.0 * u:.2g} %)"
        return decided("W4", 0.0, text, power_m, factor=part, u_factor_ratio=2.0 * u)
    llr = gaussian_llr(value, hardware=hardware, arithmetic=0.0, u=u)
    if llr > 0.0 and not beyond_screen:
        return unmet("W4", f"{text}: the record may be cropped to the screen, which looks like hardware")
    return decided("W4", llr, text, power_m)
