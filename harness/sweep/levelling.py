"""Which level to try next when a record clips or hardly fills the converter; pure."""

from __future__ import annotations

from dataclasses import dataclass

from harness.values import Quality

MOST_UP_RATIO = 4.0
"""One step up at most: a wrong guess then stays within 12 dB of a level that did not clip."""
DOWN_RATIO = 0.25
"""After a clip nothing is known but that it was too much."""
TRUST_FILL = 0.02
"""Below this fill the record is mostly noise and offset: step up blindly."""
MOST_TRIES = 12
"""Tries at one rung: down from ten volts to half a millivolt by quarters takes eight."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """What earlier tries at this rung have shown."""

    clipped_vpk: float | None = None
    """Least level that clipped."""
    low_vpk: float | None = None
    """Largest level that filled too little."""


def seen(levels: Levels, level_vpk: float, quality: Quality) -> Levels:
    """Add what one try showed.

    Args:
        levels: what was known.
        level_vpk: the level tried, V peak.
        quality: clipped or underfilled.
    Returns:
        what is known now.
    """
    if quality.clipped:
        least = level_vpk if levels.clipped_vpk is None else min(levels.clipped_vpk, level_vpk)
        return Levels(clipped_vpk=least, low_vpk=levels.low_vpk)
    most = level_vpk if levels.low_vpk is None else max(levels.low_vpk, level_vpk)
    return Levels(clipped_vpk=levels.clipped_vpk, low_vpk=most)


def next_level(
    level_vpk: float, quality: Quality, levels: Levels, *, fill_target: float, least_vpk: float, most_vpk: float
) -> float | None:
    """The level to try after one that clipped or filled too little.

    Args:
        level_vpk: the level just tried, V peak.
        quality: of its record.
        levels: what all tries at this rung have shown, this one included.
        fill_target: wanted fill.
        least_vpk: least level of the source, V peak.
        most_vpk: most that may be asked for, V peak.
    Returns:
        V peak, of 4 digits unless a limit itself; None when no other level is left between the limits.
    """
    if quality.clipped:
        wanted = level_vpk * DOWN_RATIO
    elif quality.fill_ratio > TRUST_FILL:
        wanted = level_vpk * min(fill_target / quality.fill_ratio, MOST_UP_RATIO)
    else:
        wanted = level_vpk * MOST_UP_RATIO
    low_vpk, clipped_vpk = levels.low_vpk, levels.clipped_vpk
    if clipped_vpk is not None and low_vpk is not None and not low_vpk < wanted < clipped_vpk:
        wanted = (low_vpk * clipped_vpk) ** 0.5
    # Rounded first: a limit of more than 4 digits must not be passed by rounding.
    wanted = min(max(float(f"{wanted:.4g}"), least_vpk), most_vpk)
    tried = {levels.clipped_vpk, levels.low_vpk, level_vpk}
    return None if wanted in tried else wanted
