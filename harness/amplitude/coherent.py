"""Which signal frequency visits many codes and keeps away from hum."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.errors import NotFinite

HIGHEST_HUM_HZ = 2000.0
"""Harmonics of the mains above this are too small to matter (common practice)."""
REACH_RATIO = 0.2
"""How far from the wanted frequency a better one is looked for."""
REACH_CYCLES = 4
"""At least so many cycles to both sides, for short records."""
FRACTION = 0.05
"""Distance of samples per cycle from a whole number: nearer, neighbouring cycles sample the same phases."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrequencyPlan:
    """A whole number of cycles for a record, or why there is none."""

    cycles: int | None
    """Odd and prime to the number of samples; None when nothing fits."""
    frequency_hz: float | None
    """cycles·sample_rate_hz/samples."""
    reason: str
    """Empty when a frequency was found; else what stood in the way and what to change."""


def plan_frequency(
    *,
    sample_rate_hz: float,
    samples: int,
    wanted_hz: float,
    avoid_hz: Sequence[float] = (50.0, 60.0),
    clearance_hz: float = 5.0,
) -> FrequencyPlan:
    """Which frequency near the wanted one gives whole cycles, many distinct phases and no hum.

    Args:
        sample_rate_hz: samples a second, > 0.
        samples: in the record, >= 8.
        wanted_hz: > 0 and below half the rate; the plan stays within 20 % of it, or 4 cycles if that is more.
        avoid_hz: mains frequencies; all their harmonics up to 2 kHz are kept clear.
        clearance_hz: least distance from each of them, >= 0.
    Returns:
        the nearest number of cycles that is odd, prime to the samples, clear of hum and whose samples per cycle are not
        near a whole number; or none, and the reason.
    Raises:
        NotFinite: a rate, frequency or clearance is not finite or not positive, or the record is shorter than 8.
    Source:
        IEEE Std 1057 (from memory): f = fs·M/N with M and N relatively prime; mains clearance: common practice.
    """
    numbers = {"sample_rate_hz": sample_rate_hz, "wanted_hz": wanted_hz}
    numbers |= {f"avoid_hz[{place}]": value for place, value in enumerate(avoid_hz)}
    for name, value in numbers.items():
        if not (math.isfinite(value) and value > 0.0):
            raise NotFinite(f"frequency plan: {name} is {value!r}; allowed is a positive finite number")
    if samples < 8 or not (math.isfinite(clearance_hz) and clearance_hz >= 0.0):
        raise NotFinite(
            f"frequency plan: {samples} samples and clearance_hz {clearance_hz!r}; "
            "allowed are 8 samples or more and a clearance from 0 up"
        )
    bin_hz = sample_rate_hz / samples
    wanted_cycles = wanted_hz / bin_hz
    reach = max(REACH_RATIO * wanted_cycles, REACH_CYCLES)
    low, high = max(1, math.ceil(wanted_cycles - reach)), math.floor(wanted_cycles + reach)
    near = sorted(range(low, high + 1), key=lambda cycles: (abs(cycles - wanted_cycles), cycles))
    obstacles: dict[str, int] = {}
    for cycles in near:
        obstacle = _obstacle(cycles, samples, bin_hz, avoid_hz, clearance_hz)
        if obstacle is None:
            return FrequencyPlan(cycles=cycles, frequency_hz=cycles * bin_hz, reason="")
        obstacles[obstacle] = obstacles.get(obstacle, 0) + 1
    listed = ", ".join(f"{count} {obstacle}" for obstacle, count in sorted(obstacles.items()))
    reason = (
        f"no frequency near {wanted_hz:g} Hz with {samples} samples at {sample_rate_hz:g} Hz: of {low} to {high} "
        f"cycles {listed or 'none is left'}; change the number of samples, the sample rate or the wanted frequency"
    )
    return FrequencyPlan(cycles=None, frequency_hz=None, reason=reason)


def _obstacle(cycles: int, samples: int, bin_hz: float, avoid_hz: Sequence[float], clearance_hz: float) -> str | None:
    if 2 * cycles >= samples:
        return "at or above half the sample rate"
    if cycles % 2 == 0:
        return "even"
    if math.gcd(cycles, samples) != 1:
        return "not prime to the samples"
    if abs(math.remainder(samples / cycles, 1.0)) < FRACTION:
        return "near a sub-multiple of the sample rate"
    frequency_hz = cycles * bin_hz
    for line_hz in avoid_hz:
        order = max(1, round(frequency_hz / line_hz))
        if order * line_hz <= HIGHEST_HUM_HZ and abs(frequency_hz - order * line_hz) < clearance_hz:
            return "near a mains harmonic"
    return None
