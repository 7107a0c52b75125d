"""W1: the code step referred to the input."""

from __future__ import annotations

import math

from harness.judge.waveform.record import Seen
from harness.judge.waveform.result import FOUND_DISTANCE, WaveformTest, decided, gaussian_llr, unmet

GAIN_PERCENT = 0.3
"""How far a hardware step may be from its name before it is counted against hardware."""
FOLLOWED = 3.0
"""Standard deviations by which the codes must have moved."""
MISFIT = 4.0
"""Standard deviations from both expectations at which neither is believed."""


def step_size(a: Seen, b: Seen, *, ratio: float, u_ratio_percent: float = 0.1) -> WaveformTest:
    """Whether one code step of the more sensitive setting stands for less at the input.

    The step at the input is the spacing of the values over the gain in the same units. Gain by hardware divides it by
    the ratio; arithmetic leaves it alone, by a larger scale on the same codes as well as by multiplied codes with gaps.

    Args:
        a: the reference setting.
        b: the setting that is `ratio` times more sensitive by name.
        ratio: name of b over name of a, > 0, not 1.
        u_ratio_percent: standard uncertainty of the ratio of the two drive levels, percent.
    Returns:
        the test; `factor` is the arithmetic part found, between 1 and the ratio for a mixed step.
    Source:
        common practice, no source (test W1); derived in tests/judge_waveform/test_step_size.py.
    """
    for name, seen in (("reference", a), ("setting", b)):
        if not seen.plain:
            return unmet("W1", f"{name}: {seen.not_plain}")
    spacing_a, spacing_b = a.spacing, b.spacing
    if spacing_a is None or spacing_b is None:
        return unmet("W1", "too few samples or codes for the spacing of the values: take a longer record")
    input_a, input_b = spacing_a.units / a.gain_per_v, spacing_b.units / b.gain_per_v
    log_ratio, log_factor = math.log(ratio), math.log(ratio * input_b / input_a)
    u = math.sqrt(spacing_a.u_ratio**2 + spacing_b.u_ratio**2 + (u_ratio_percent**2 + GAIN_PERCENT**2) / 1e4)
    factor = math.exp(log_factor)
    power_m = math.exp(FOUND_DISTANCE * u)
    text = (
        f"a code step is {1e6 * input_a:.4g} µV at the input of the reference and {1e6 * input_b:.4g} µV here: "
        f"×{factor:.4g} of ×{ratio:.4g} is arithmetic (±{200.0 * u:.2g} %)"
    )
    llr = gaussian_llr(log_factor, hardware=0.0, arithmetic=log_ratio, u=u)
    if min(abs(log_factor), abs(log_factor - log_ratio)) > MISFIT * u:
        return decided("W1", 0.0, f"{text}: neither all nor nothing", power_m, factor=factor, u_factor_ratio=2.0 * u)
    if ratio < 1.0 and llr > 0.0:
        return unmet("W1", "a reduction fills all codes, by hardware or by arithmetic")
    return decided("W1", llr, text, power_m, factor=factor, u_factor_ratio=2.0 * u)


def codes_followed(a: Seen, b: Seen, *, ratio: float, u_ratio_percent: float) -> bool:
    """Whether the values themselves moved by most of the ratio, and not only the scale.

    Args:
        a: the reference setting.
        b: the other setting.
        ratio: name of b over name of a, > 0.
        u_ratio_percent: as step_size.
    Returns:
        true when they did, beyond doubt; without that, a pattern of visited codes says nothing for hardware.
    Source:
        common practice, no source.
    """
    moved = math.log(b.gain_per_v / a.gain_per_v) * math.copysign(1.0, math.log(ratio))
    needed = FOLLOWED * math.hypot(u_ratio_percent, GAIN_PERCENT) / 100.0
    return moved > 0.5 * abs(math.log(ratio)) and moved > needed
