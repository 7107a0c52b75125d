"""Are the waits long enough? After a change of range the gain must not move on while nothing is touched."""

from __future__ import annotations

from collections.abc import Sequence

from harness.errors import StationFault
from harness.sweep.checks.exchange import relays_differ
from harness.sweep.checks.gentle import Gentle, percent
from harness.values import Rung

LATE_PERCENT = 0.3
"""More than this is still to come after the wait: the usual limit of what up and down may differ."""
LONGER = 3.0
"""Waits of a change of range until the second reading: what was off then has shrunk to its fourth power."""
RESTS_RATIO = 0.33
"""From the second reading to the third the gain moves by less than this share of the first move. What creeps with the
logarithm of time, as a dielectric does, moves by as much again."""
RESTLESS_RATIO = 1.8
"""A record that begins while a word still settles leaves so much more at its start: in a long record that shows before
the gain does. Thousands of samples know it to a few percent."""
FEWEST_CHANNELS = 2
"""A channel alone is as well slow by itself."""
FEWEST_RANGES = 2
"""Of a channel: one alone is never changed, and its fine steps are looked at, up and down, by the sweep itself."""


def check_waits(gentle: Gentle, middles: Sequence[Rung]) -> float | None:
    """Read a setting of each channel after a change of range, and again after a longer wait.

    The first channel that rests ends the check: then the waits are right. Returns by how much the gain of the last
    channel looked at moved, percent; None where nothing can be told. StationFault when all channels move and then rest.
    """
    moved_percent: float | None = None
    if len(middles) < FEWEST_CHANNELS:
        return None
    for rung in middles:
        moved_percent, restless = _moves(gentle, rung)
        if moved_percent is None or not (restless or abs(moved_percent) > LATE_PERCENT):
            return moved_percent
        if abs(moved_percent) > LATE_PERCENT and not _rests(gentle, rung, abs(moved_percent)):
            return moved_percent
    settle, by_word = gentle.plan.device.settle, _by_word(gentle, middles[-1])
    key, wait_s = ("fine_s", settle.fine_s) if by_word else ("coarse_s", settle.coarse_s)
    raise StationFault(
        f"in all channels the gain moves on after the wait of {wait_s:g} s for a change of "
        f"{'code' if by_word else 'range'}, by {moved_percent:+.2g} % in the last one, and rests after "
        f"{1.0 + LONGER:g} times as long: the wait is too short: make [settle] {key} of the device file longer, then "
        "run again; when another unit rests at once, the relays of this one are late",
        fault="settle-too-short",
        also=("relay-settles-late",),
    )


def _moves(gentle: Gentle, rung: Rung) -> tuple[float | None, bool]:
    """How far the gain moves between the usual wait and a longer one, coming from the most sensitive range.

    And whether the record after the usual wait, and not the later one, begins before a word has settled.

    Where a change of range is but another word it settles like a fine step, and those are waited for less long: then
    the gain comes from the other end of its own range.
    """
    if len({other.setting.coarse for other in _of_channel(gentle, rung)}) < FEWEST_RANGES:
        return None, False
    by_word = _by_word(gentle, rung)
    away, rung = _within_a_range(gentle, rung) if by_word else (_most_sensitive(gentle, rung), rung)
    if away.setting == rung.setting or (not by_word and away.setting.coarse == rung.setting.coarse):
        return None, False
    gentle.set(away.setting)
    if by_word:
        gentle.hands.drive(gentle.level_vpk(rung))
    gentle.set(rung.setting)
    before = gentle.read(rung)
    early_ratio = gentle.start_unrest
    moved_percent = _between(gentle, rung, before)
    return moved_percent, by_word and early_ratio > RESTLESS_RATIO > gentle.start_unrest


def _within_a_range(gentle: Gentle, rung: Rung) -> tuple[Rung, Rung]:
    """The least sensitive setting of a rung's range, and the rung.

    Where it is that end itself, the end of the least sensitive range, whose noise is least, and a rung far from it.
    """
    own = sorted(_of_channel(gentle, rung), key=lambda other: other.drive_vpk)
    here = [other for other in own if other.setting.coarse == rung.setting.coarse]
    if here[-1].setting != rung.setting:
        return here[-1], rung
    quietest = [other for other in own if other.setting.coarse == own[-1].setting.coarse]
    return quietest[-1], quietest[len(quietest) // 4]


def _of_channel(gentle: Gentle, rung: Rung) -> list[Rung]:
    return [other for other in gentle.plan.rungs if other.setting.channel == rung.setting.channel]


def _most_sensitive(gentle: Gentle, rung: Rung) -> Rung:
    return min(_of_channel(gentle, rung), key=lambda other: other.drive_vpk)


def _by_word(gentle: Gentle, rung: Rung) -> bool:
    """Whether the change from the most sensitive range moves nothing but a word on the bus."""
    return relays_differ(gentle, rung, _most_sensitive(gentle, rung)) is False


def _rests(gentle: Gentle, rung: Rung, moved_percent: float) -> bool:
    still_percent = _between(gentle, rung, gentle.read(rung))
    return still_percent is not None and abs(still_percent) <= RESTS_RATIO * moved_percent


def _between(gentle: Gentle, rung: Rung, before: float | None) -> float | None:
    """How far a gain moves from a reading until one after a longer wait."""
    gentle.hands.wait(LONGER * gentle.plan.device.settle.coarse_s)
    after = gentle.read(rung)
    return None if before is None or after is None else percent(after / before)
