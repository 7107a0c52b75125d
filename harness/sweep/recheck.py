"""Readings taken again: have bench and unit moved since?"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from harness.amplitude import fit_sine3
from harness.config import DeviceFile
from harness.errors import MeasureError
from harness.values import Purpose, Reading, ReadingStatus, Rung

FACTOR = 3.0
"""A reading taken again that differs by more standard uncertainties of the difference has moved."""
LEAST_U_PERCENT = 0.01
"""Standard uncertainty of one reading where neither noise nor the device file says more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """The gain of one reading as far as it can be compared with the same setting read before."""

    codes_per_set_v: float
    """Output codes a volt at the source's terminals."""
    u_percent: float
    """Standard uncertainty of its own: noise and repeatability, not what both readings have in common."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One setting, read before and again."""

    difference_percent: float | None
    """100 · ln(again/before); None where one of the two could not be compared."""
    allowed_percent: float
    text: str
    """For people."""

    @property
    def moved(self) -> bool:
        """Whether the two differ by more than their uncertainty, or cannot be compared."""
        return self.difference_percent is None or abs(self.difference_percent) > self.allowed_percent


def gain_of(reading: Reading, device: DeviceFile) -> Gain | None:
    """The gain of a reading; None where it has none to compare."""
    wave = reading.waveform
    if reading.status is not ReadingStatus.VALID or wave is None or not reading.drive_read_vpk > 0.0:
        return None
    try:
        fit = fit_sine3(wave.codes, sample_rate_hz=wave.sample_rate_hz, frequency_hz=reading.frequency_hz)
    except MeasureError:
        return None
    if not fit.amplitude_code > 0.0:
        return None
    noise_percent = 100.0 * fit.noise_code * math.sqrt(2.0 / fit.samples) / fit.amplitude_code
    return Gain(
        codes_per_set_v=fit.amplitude_code / reading.drive_read_vpk,
        u_percent=math.hypot(noise_percent, _repeatability_percent(device)),
    )


def compare(before: Reading, again: Reading, device: DeviceFile) -> Comparison:
    """Whether a setting read again has moved beyond the uncertainty of the difference."""
    first, second = gain_of(before, device), gain_of(again, device)
    if first is None or second is None:
        why = again.reason or "no gain can be told from one of the two records"
        return Comparison(difference_percent=None, allowed_percent=0.0, text=f"not comparable: {why}")
    difference_percent = 100.0 * math.log(second.codes_per_set_v / first.codes_per_set_v)
    allowed_percent = FACTOR * math.hypot(first.u_percent, second.u_percent)
    text = f"{difference_percent:+.3f} % since reading {before.index}; within {allowed_percent:.3f} % is no change"
    return Comparison(difference_percent=difference_percent, allowed_percent=allowed_percent, text=text)


def rungs_again(before: Iterable[Reading], rungs: Iterable[Rung]) -> tuple[tuple[Reading, Rung], ...]:
    """Rungs that repeat readings, at the level at which each was taken."""
    known = {(rung.setting, rung.direction): rung for rung in rungs}
    found: list[tuple[Reading, Rung]] = []
    for reading in before:
        rung = known.get((reading.setting, reading.direction))
        if rung is not None:
            found.append((reading, replace(rung, drive_vpk=reading.drive_set_vpk, purpose=Purpose.ANCHOR)))
    return tuple(found)


def _repeatability_percent(device: DeviceFile) -> float:
    """Standard uncertainty that a setting repeats to, as the device file states it."""
    stated = device.uncertainty.repeatability if device.uncertainty is not None else None
    if stated is None:
        return LEAST_U_PERCENT
    divisors = {"rectangular": math.sqrt(3.0), "triangular": math.sqrt(6.0), "arcsine": math.sqrt(2.0)}
    divisor = divisors.get(stated.distribution, stated.factor or 2.0)
    return max(stated.percent / divisor, LEAST_U_PERCENT)
