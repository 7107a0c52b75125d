"""From a wanted converter fill to a source level, through the wiring and within the limits."""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.config import BenchFile, DeviceFile
from harness.config.bench_file import Wiring
from harness.values import ratio_from_db

LEVEL_DIGITS = 4
"""Significant digits of a planned level: what a programmable source can set."""


def input_ratio(wiring: Wiring) -> float:
    """How many volts reach the device's input per volt that the source is set to.

    A source that is told a load puts out, open circuit, what would leave the set level across that load; told high-z,
    it puts out the set level itself. The true load then divides it.

    Args:
        wiring: source resistance, true load, told load and pad.
    Returns:
        V/V, > 0: input = set level · ratio, set level = input / ratio; the pad between them included.
    """
    return terminal_ratio(wiring) * ratio_from_db(-wiring.pad_db)


def terminal_ratio(wiring: Wiring) -> float:
    """How many volts stand at the source's terminals per volt that the source is set to.

    Args:
        wiring: source resistance, true load and told load.
    Returns:
        V/V, > 0; a pad comes behind.
    """
    return open_ratio(wiring) * wiring.load_ohm / (wiring.load_ohm + wiring.source_ohm)


def open_ratio(wiring: Wiring) -> float:
    """How many volts stand at the source's terminals, with the load gone, per volt that it is set to.

    Args:
        wiring: source resistance and told load.
    Returns:
        V/V, >= 1.
    """
    told = wiring.told_ohm
    return 1.0 if told == "high-z" else (told + wiring.source_ohm) / told


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """What was found for one gain."""

    needed_vpk: float
    """For the target fill, V peak at the source's terminals as it is told its load."""
    drive_vpk: float
    """The nearest that may be set."""
    fill_ratio: float
    """Signal span over converter span at `drive_vpk`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """What the source may put out, and what of it arrives."""

    least_vpk: float
    most_vpk: float
    most_of: str
    """What sets `most_vpk`, for messages."""
    input_ratio: float
    span_codes: int
    alarm_vpk: float = math.inf
    """More than this at the terminals is above the limit of device or bench, whatever source and meter may err."""

    def level(self, gain_codes_per_v: float, fill_target_ratio: float) -> Level:
        """At which level a gain is measured.

        Args:
            gain_codes_per_v: predicted gain, codes a volt at the input, > 0.
            fill_target_ratio: wanted signal span over converter span.
        Returns:
            level needed, level that may be set (rounded, within the limits), and the fill there.
        """
        codes_per_set_v = gain_codes_per_v * self.input_ratio
        needed_vpk = fill_target_ratio * self.span_codes / codes_per_set_v / 2.0
        rounded_vpk = float(f"{needed_vpk:.{LEVEL_DIGITS}g}")
        drive_vpk = min(max(rounded_vpk, self.least_vpk), self.most_vpk)
        fill_ratio = 2.0 * drive_vpk * codes_per_set_v / self.span_codes
        return Level(needed_vpk=needed_vpk, drive_vpk=drive_vpk, fill_ratio=fill_ratio)


def drive_of(
    device: DeviceFile, bench: BenchFile, *, span_codes: int, source_min_vpk: float, source_max_vpk: float
) -> Drive:
    """What a source may put out on a bench with a device.

    The limits of device and bench hold for what would stand there with the load gone, as the source's driver has it:
    a terminator that falls off must not harm the device. A pad is left out of them: it may be forgotten.

    Args:
        device: for the limit of its input at the impedance selected at power-on.
        bench: for its own limit and the wiring.
        span_codes: codes from rail to rail of the converter.
        source_min_vpk: least level of the source for the load it is told, V peak.
        source_max_vpk: most level of the source for the load it is told, V peak.
    Returns:
        the limits and the ratio of the wiring.
    """
    ratio = open_ratio(bench.wiring)
    limit_vpk = min(entry.max_vpk for entry in device.input.limit if entry.impedance_ohm == device.input.impedance_ohm)
    limits = (
        (source_max_vpk, "the source"),
        (bench.max_level_vpk / ratio, "the bench's max_level_vpk"),
        (limit_vpk / ratio, "the device's input limit"),
    )
    most_vpk, most_of = min(limits)
    return Drive(
        least_vpk=source_min_vpk,
        most_vpk=most_vpk,
        most_of=most_of,
        input_ratio=input_ratio(bench.wiring),
        span_codes=span_codes,
        alarm_vpk=min(level_vpk for level_vpk, _ in limits[1:]) * (1.0 + _left_open_ratio(bench)),
    )


def _left_open_ratio(bench: BenchFile) -> float:
    """By how much the meter may read more than was asked for while source and meter keep what is stated of them."""
    stated = bench.uncertainty
    if stated is None:
        return 0.0
    levels = [stated.source] if stated.meter is None else [stated.source, stated.meter]
    parts = [part for level in levels for part in (level.reading, level.range, level.flatness) if part is not None]
    return sum(part.percent for part in parts) / 100.0
