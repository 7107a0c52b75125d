"""A level that stays for several fine positions: each change of it is an answer to wait for."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

from harness.ladder.drive import Level

Levels = Mapping[tuple[int, int], Level]
"""By coarse and fine index: all channels have the same law."""


def held(levels: Levels, *, fill_low: float, fill_target: float) -> Levels:
    """The same settings at fewer different levels.

    From the last fine position of a range downwards each takes the level of the one behind it, as long as that is none
    higher than its own and still fills the converter well enough: to the geometric mean of least and wanted fill, so
    that a gain somewhat below its prediction is not levelled anew.

    Args:
        levels: for the wanted fill, by coarse and fine index.
        fill_low: least fill that the job allows, ratio.
        fill_target: wanted fill, ratio, above `fill_low`.
    Returns:
        levels, none higher than before, with the fill at each; one setting has one level, whichever way it is walked.
    """
    enough_ratio = math.sqrt(fill_low * fill_target)
    found: dict[tuple[int, int], Level] = {}
    for coarse in sorted({coarse for coarse, _ in levels}):
        behind: Level | None = None
        for place in _backwards(levels, coarse):
            own = levels[place]
            if behind is not None and behind.drive_vpk <= own.drive_vpk:
                fill_ratio = own.fill_ratio * behind.drive_vpk / own.drive_vpk
                if fill_ratio >= enough_ratio:
                    own = replace(own, drive_vpk=behind.drive_vpk, fill_ratio=fill_ratio)
            found[place] = behind = own
    return found


def _backwards(levels: Levels, coarse: int) -> Iterable[tuple[int, int]]:
    return sorted((place for place in levels if place[0] == coarse), reverse=True)
