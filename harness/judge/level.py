"""The level of a reading: by the reference meter where there is one, else by the source itself."""

from __future__ import annotations

import math
from dataclasses import replace

from harness.amplitude import Flag
from harness.values import Reading

FAR_PERCENT = 5.0
"""Common practice, no source: no source in order is so far off its own level."""


def by_meter(reading: Reading, *, terminal_ratio: float) -> Reading:
    """The reading with the level that the meter vouches for in place of the one that the source claims.

    Args:
        reading: raw.
        terminal_ratio: volts at the source's terminals, where the meter hangs, per volt that the source is set to.
    Returns:
        the reading, its level that to which the source would be set for what the meter reads; itself without a meter.
    Source:
        practice: the millivolts are checked by a meter, never believed of a source.
    """
    if reading.meter_vpk is None:
        return reading
    return replace(reading, drive_read_vpk=reading.meter_vpk / terminal_ratio)


def level_flag(reading: Reading) -> Flag | None:
    """Whether the meter shows a source that does not put out what it was set to.

    Args:
        reading: its level by the meter.
    Returns:
        a flag beyond 5 %: the gain is right all the same, for it rests on the meter; else nothing.
    Source:
        common practice, no source.
    """
    if reading.meter_vpk is None or not (reading.drive_read_vpk > 0.0 and reading.drive_set_vpk > 0.0):
        return None
    off_percent = 100.0 * math.log(reading.drive_read_vpk / reading.drive_set_vpk)
    if abs(off_percent) <= FAR_PERCENT:
        return None
    return Flag(
        name="source-level",
        severity="flag",
        reason=f"the meter reads {reading.meter_vpk:.4g} V peak, as if the source were set to "
        f"{reading.drive_read_vpk:.4g} V peak, but it was set to {reading.drive_set_vpk:.4g} "
        f"(×{math.exp(off_percent / 100.0):.4g}); allowed is {FAR_PERCENT:g} %: check its load setting, terminators "
        "and cable",
    )
