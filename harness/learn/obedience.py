"""Whether the device does what it is told, by the gains that were scouted."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

from harness.config import SettingsFile
from harness.errors import LearnError
from harness.values import Setting

SAME_RATIO = 0.005
"""Two settings of gains nearer than this have the same gain."""


def fine_probe(settings: SettingsFile) -> Setting | None:
    """The setting that tells whether the fine position is obeyed.

    Args:
        settings: of the device.
    Returns:
        the last fine position of the middle range; None where words are loaded, or there is one position only.
    Source:
        common practice, no source: first against last is the largest change that the control can make.
    """
    last = len(settings.fine_names) - 1
    return Setting(1, len(settings.coarse) // 2, last) if settings.coarse and last > 0 else None


def ranges_obeyed(gains: Mapping[Setting, float], settings: SettingsFile) -> list[str]:
    """What is odd about the gains of the ranges, line by line.

    Args:
        gains: codes a volt at the first fine position of ranges.
        settings: of the device.
    Returns:
        a note where two neighbours have the same gain.
    Raises:
        LearnError: all ranges have the same gain, or they stand in another order than their gains.
    Source:
        none: comparison.
    """
    names, notes = settings.range_names, []
    known = sorted((setting.coarse, gain) for setting, gain in gains.items())
    if len(known) > 1 and max(gains.values()) < min(gains.values()) * (1.0 + SAME_RATIO):
        raise LearnError(
            f"learn: all {len(known)} ranges have the same gain ({known[0][1]:.4g} codes/V); allowed are different "
            "ones: the command for the range is not obeyed; mend it in the profile, and switch autoranging off"
        )
    for (before, low), (after, high) in pairwise(known):
        if high < low * (1.0 - SAME_RATIO):
            raise LearnError(
                f"learn: range {names[after]} has less gain ({high:.4g} codes/V) than {names[before]} ({low:.4g}); "
                "allowed is an order from the least sensitive range on: reorder [[coarse]] in the settings file"
            )
        if high < low * (1.0 + SAME_RATIO):
            notes.append(f"{names[after]} has the gain of {names[before]}: is the command for the range obeyed?")
    return notes


def fine_obeyed(first: float | None, last: float | None, settings: SettingsFile, *, heard: bool) -> None:
    """Whether the fine position changes the gain.

    Args:
        first: gain at the first fine position, codes a volt; None where none could be measured.
        last: at the last one, same range.
        settings: of the device.
        heard: whether words followed the channel on the bus.
    Raises:
        LearnError: both are the same.
    Source:
        none: comparison.
    """
    if first is None or last is None or abs(last / first - 1.0) >= SAME_RATIO:
        return
    names = settings.fine_names
    why = "the command for the fine position is not obeyed, or needs another value; mend it in the profile or in [fine]"
    if heard:
        why = "words follow the command on the bus, and the gain device does not take them: is its latch dead?"
    same = f"fine position {names[-1]} has the gain of {names[0]} ({first:.4g} codes/V)"
    raise LearnError(f"learn: {same}; allowed is another one: {why}")
