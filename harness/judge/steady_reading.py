"""Gain and offset at DC: two steady levels of opposite sign, each perhaps dithered."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from harness.amplitude import Steady, check_quality, steady
from harness.config import DeviceFile
from harness.errors import MeasureError
from harness.values import Reading, ReadingStatus


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyRecord:
    """One steady level, read."""

    levels_v: tuple[float, ...]
    """As the source reads back, one for each record, V at its terminals for the load it was told."""
    found: Steady


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyGain:
    """The gain of a setting at DC."""

    gain_codes_per_v: float
    """Of any sign: a dead path gives none, a crossed one a negative gain."""
    offset_code: float
    """Middle of the two means: the offset, where the levels are symmetric."""
    amplitude_code: float
    """Half the difference of the two means, by amount."""
    level_v: float
    """Half the difference of the two levels, as set, > 0."""
    u_code: float
    """Standard uncertainty of the difference of the means by the scatter of the samples."""
    bias_code: float
    """How far rounding can have moved each of the two means, at most."""
    positions: int
    """Of the dither, the fewer of both; 1 without."""
    noise_code: float
    """Before rounding, of the quieter one."""


def steady_record(reading: Reading, device: DeviceFile) -> SteadyRecord | str:
    """What a reading at a steady level holds.

    Args:
        reading: raw.
        device: for its rails.
    Returns:
        the record; the reason, where it cannot be judged.
    Source:
        amplitude.steady; common practice: no raw code at a rail.
    """
    wave = reading.waveform
    if reading.status is not ReadingStatus.VALID or wave is None or wave.mode != "sample" or not reading.steady_v:
        return reading.reason or "no plain record at a steady level"
    converter = device.converter
    try:
        quality = check_quality(
            wave.codes,
            low_code=converter.low_code,
            high_code=converter.high_code,
            fill_low=0.0,
            fill_high=1.0,
            amplitude_code=None,
        )
        found = steady(wave.codes, positions=len(reading.steady_v))
    except MeasureError as error:
        return f"{error.reason}: {error}"
    return quality.reason if quality.clipped else SteadyRecord(levels_v=reading.steady_v, found=found)


def steady_gain(above: SteadyRecord, below: SteadyRecord, *, input_ratio: float) -> SteadyGain | str:
    """The gain by the difference of two steady levels: what is the same at both cancels, the offset above all.

    Args:
        above, below: the higher and the lower level.
        input_ratio: volts at the device's input per volt that the source is set to.
    Returns:
        the gain; the reason, where the levels do not tell one.
    Source:
        common practice, no source: g = (V+ - V-)device / (V+ - V-)reference.
    """
    high_v, low_v = float(np.mean(above.levels_v)), float(np.mean(below.levels_v))
    if not high_v > low_v:
        return f"the levels read back as {high_v:g} and {low_v:g} V; allowed is the first above the second"
    difference_code = above.found.mean_code - below.found.mean_code
    gain = difference_code / ((high_v - low_v) * input_ratio)
    # The dither is as wide as the gain that was found makes it, not as the one that was predicted.
    to_code = abs(gain) * input_ratio
    bias_code = max(one.found.bias_code(np.asarray(one.levels_v) * to_code) for one in (above, below))
    return SteadyGain(
        gain_codes_per_v=gain,
        offset_code=(above.found.mean_code + below.found.mean_code) / 2.0,
        amplitude_code=abs(difference_code) / 2.0,
        level_v=(high_v - low_v) / 2.0,
        u_code=math.hypot(above.found.u_code, below.found.u_code),
        bias_code=bias_code,
        positions=min(above.found.positions, below.found.positions),
        noise_code=min(above.found.noise_code, below.found.noise_code),
    )
