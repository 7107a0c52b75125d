"""The table of ratios that point to one cause ("it is off by exactly ...")."""

from __future__ import annotations

import math
from dataclasses import dataclass

ANY_FACTOR = ("source-load-mis-set", "terminator-wrong", "unit-mix-up", "pad-wrong")
"""Faults of the station that make a factor of any size, the likeliest first."""
SPREAD_RATIO = 0.02
"""As far as good units and sources move a factor that is exact: both are within their limits."""
WINDOW_RATIO = 0.005
"""Half-width of the window round a ratio or its inverse."""
TRIGGER_PERCENT = 5.0
"""Residuals below this are not looked up: rows near 1 would match anything."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExactFactor:
    """One row."""

    ratio: float
    """Above 1; its inverse counts as well."""
    cause: str
    """What to look at, the likeliest first."""
    station_fault: str = ""
    """Name of the fault on the tester's side that does this to all settings; empty where there is none."""
    weak_fault: str = ""
    """The same for the inverse, where that is another one: a level that is too small by this ratio."""
    device_fault: str = ""
    """Name of the fault in the device that does; empty where there is none."""


FACTORS: tuple[ExactFactor, ...] = (
    ExactFactor(
        ratio=2.0,
        cause="source set for 50 Ω into high impedance; lost termination",
        station_fault="source-load-mis-set",
        device_fault="load-resistor-missing",
    ),
    ExactFactor(ratio=1.5, cause="source set for 50 Ω on 25 Ω (two terminators)", station_fault="terminator-wrong"),
    ExactFactor(ratio=4.0 / 3.0, cause="source set for 50 Ω on 100 Ω", station_fault="terminator-wrong"),
    ExactFactor(ratio=1.2, cause="source set for 50 Ω on 75 Ω", station_fault="terminator-wrong"),
    ExactFactor(ratio=2.0 * math.sqrt(2.0), cause="peak-to-peak taken for rms", station_fault="unit-mix-up"),
    ExactFactor(ratio=math.sqrt(2.0), cause="peak taken for rms", station_fault="unit-mix-up"),
    ExactFactor(
        ratio=4.0 * math.sqrt(2.0), cause="peak-to-peak taken for rms, and a factor 2", station_fault="unit-mix-up"
    ),
    ExactFactor(ratio=math.pi / 2.0, cause="peak taken for average of a sine", station_fault="unit-mix-up"),
    ExactFactor(
        ratio=math.pi / math.sqrt(8.0),
        cause="average-responding meter on a square wave",
        station_fault="unit-mix-up",
    ),
    ExactFactor(ratio=2.0 * math.sqrt(3.0), cause="dBm in 600 Ω taken for dBm in 50 Ω", station_fault="unit-mix-up"),
    ExactFactor(
        ratio=1.0 / math.sqrt(0.6),
        cause="dB relative to 0.775 V taken for dB relative to 1 V",
        station_fault="unit-mix-up",
    ),
    ExactFactor(
        ratio=10.0,
        cause="probe factor, pad, or attenuator relay",
        station_fault="probe-factor-wrong",
        weak_fault="pad-wrong",
        device_fault="relay-not-picking",
    ),
    ExactFactor(
        ratio=100.0,
        cause="probe factor, pad, or attenuator relays",
        station_fault="probe-factor-wrong",
        weak_fault="pad-wrong",
        device_fault="relay-not-picking",
    ),
    ExactFactor(ratio=1000.0, cause="milli taken for micro", station_fault="unit-mix-up"),
    ExactFactor(ratio=2.5, cause="one range of a 1-2-5 sequence", device_fault="relay-drivers-swapped"),
    ExactFactor(ratio=1.1, cause="1 MΩ input on a 100 kΩ pad, forgotten or counted twice", station_fault="pad-wrong"),
    ExactFactor(ratio=10.0 ** (1.0 / 20.0), cause="1 dB rounding, or a step of 1 dB", station_fault="pad-wrong"),
    ExactFactor(ratio=10.0 ** (2.0 / 20.0), cause="a step of 2 dB", station_fault="pad-wrong"),
)
"""Rows farther than 5 % from 1; ratios recomputed in tests/published/, causes common practice, no source."""


def match_factor(ratio: float) -> tuple[ExactFactor, ...]:
    """Which exact factors a ratio of measured to predicted gain could be.

    Args:
        ratio: measured over predicted, > 0.
    Returns:
        rows whose ratio or inverse lies within 0.5 %, nearest first; none below the trigger of 5 %.
    Source:
        ratios by calculation (tests/published/); causes common practice, no source.
    """
    if not (math.isfinite(ratio) and ratio > 0.0) or abs(100.0 * math.log(ratio)) <= TRIGGER_PERCENT:
        return ()
    size = max(ratio, 1.0 / ratio)
    near = [(abs(size / row.ratio - 1.0), row) for row in FACTORS]
    return tuple(row for distance, row in sorted(near, key=lambda pair: pair[0]) if distance <= WINDOW_RATIO)


def station_faults(ratio: float) -> tuple[str, ...]:
    """Which faults of the station make one factor on everything.

    Args:
        ratio: measured over predicted, > 0.
    Returns:
        names, the likeliest first: of the exact factors that it may be, of a unit within its limits too, then of those
        that make any factor.
    Source:
        match_factor.
    """
    size = max(ratio, 1.0 / ratio)
    near = sorted(FACTORS, key=lambda row: abs(size / row.ratio - 1.0))
    exact: list[str] = []
    for row in (row for row in near if abs(size / row.ratio - 1.0) <= SPREAD_RATIO):
        both = (row.station_fault, row.weak_fault)
        exact += reversed(both) if ratio < 1.0 else both
    return tuple(name for name in dict.fromkeys((*exact, *ANY_FACTOR)) if name)
