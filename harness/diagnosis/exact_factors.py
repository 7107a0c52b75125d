"""The table of ratios that point to one cause ("it is off by exactly ...")."""

from __future__ import annotations

import math
from dataclasses import dataclass

WINDOW_RATIO = 0.005
"""Half-width of the window round a ratio or its inverse."""
TRIGGER_PERCENT = 5.0
"""Residuals below this are not looked up: rows near 1 would match anything."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExactFactor:
    """One row."""

    ratio: float
    cause: str
    station: bool
    """A cause on the tester's side is likely when all settings share the factor."""


FACTORS: tuple[ExactFactor, ...] = (
    ExactFactor(ratio=2.0, cause="source set for 50 Ω into high impedance; lost termination", station=True),
    ExactFactor(ratio=1.5, cause="source set for 50 Ω on 25 Ω (two terminators)", station=True),
    ExactFactor(ratio=4.0 / 3.0, cause="source set for 50 Ω on 100 Ω", station=True),
    ExactFactor(ratio=1.2, cause="source set for 50 Ω on 75 Ω", station=True),
    ExactFactor(ratio=2.0 * math.sqrt(2.0), cause="peak-to-peak taken for rms", station=True),
    ExactFactor(ratio=math.sqrt(2.0), cause="peak taken for rms", station=True),
    ExactFactor(ratio=4.0 * math.sqrt(2.0), cause="peak-to-peak taken for rms, and a factor 2", station=True),
    ExactFactor(ratio=math.pi / 2.0, cause="peak taken for average of a sine", station=True),
    ExactFactor(ratio=2.0 * math.sqrt(3.0), cause="dBm in 600 Ω taken for dBm in 50 Ω", station=True),
    ExactFactor(ratio=10.0, cause="probe factor, pad, or attenuator relay", station=True),
    ExactFactor(ratio=100.0, cause="probe factor, pad, or attenuator relay", station=True),
    ExactFactor(ratio=1000.0, cause="milli taken for micro", station=True),
    ExactFactor(ratio=2.5, cause="one range of a 1-2-5 sequence", station=False),
    ExactFactor(ratio=1.1, cause="1 MΩ input on a 100 kΩ pad, forgotten or counted twice", station=True),
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
