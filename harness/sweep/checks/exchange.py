"""Are the cables of two channels exchanged? What is set in one channel then shows in the other one, and the reverse."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import reduce

from harness.errors import StationFault
from harness.sweep.checks.gentle import Gentle, percent
from harness.values import Rung, Setting

NOISE_CODE = 2.0
"""What a fit makes of a record with next to nothing in it."""


def check_cables(gentle: Gentle, wrong: Sequence[Rung], middles: Sequence[Rung]) -> None:
    """Set one channel at a time, all others at rest, and look where it shows.

    `wrong` are those of `middles`, one rung a channel, that are not as predicted. StationFault when the whole gain of a
    channel, relays included, shows in another one, and the reverse. Latches that are crossed exchange words alone and
    leave relays in their place. Where the words say all, the adapter tells: with exchanged cables each channel's own
    latch fires, and no other; where it was not heard, the two are not told apart and nothing is raised.
    """
    for place, first in enumerate(wrong):
        for second in middles:
            known = second in wrong[: place + 1]
            if known or not all(_relays_tell(gentle, one) or _own_latch(gentle, one) for one in (first, second)):
                continue
            if _shows(gentle, first, second) and _shows(gentle, second, first):
                one, other = first.setting.channel, second.setting.channel
                raise StationFault(
                    f"what is set in channel {one} shows in channel {other}, and the reverse, relays included or under "
                    f"the channel's own latch: the cables of channels {one} and {other} are exchanged: swap them back "
                    "at the fixture, then run again",
                    fault="cables-swapped",
                )


def _own_latch(gentle: Gentle, rung: Rung) -> bool:
    """Whether the adapter hears a change of the channel under its own latch, and under no other."""
    resting, bus = _resting(gentle, rung), gentle.plan.device.bus
    if resting is None or bus is None:
        return False
    gentle.set(resting.setting)
    capture = gentle.heard(rung.setting)
    if capture is None or capture.dropped:
        return False
    own = {member.latch for member in bus.on_bus if member.channel == rung.setting.channel}
    moved = reduce(lambda seen, level: seen | level ^ capture.initial, capture.levels.tolist(), 0)
    fired = {member.latch for member in bus.on_bus if moved >> capture.lines.index(member.latch) & 1}
    return bool(fired) and fired <= own


def _shows(gentle: Gentle, rung: Rung, elsewhere: Rung) -> bool:
    """Whether the gain that is set in one channel is read in another one, which rests, and not in its own."""
    resting = _resting(gentle, elsewhere)
    if resting is None:
        return False
    gentle.set(resting.setting)
    gentle.set(rung.setting)
    gentle.hands.drive(gentle.level_vpk(rung))
    own_code = gentle.amplitude_code(rung.setting.channel)
    other_code = gentle.amplitude_code(elsewhere.setting.channel)
    set_code = gentle.input_vpk * rung.prediction.gain_codes_per_v
    rest_code = gentle.input_vpk * resting.prediction.gain_codes_per_v
    gentle.hands.off()
    near = gentle.plan.self_check_percent
    return (
        own_code is not None
        and other_code is not None
        and own_code <= rest_code * (1.0 + near / 100.0) + NOISE_CODE
        and other_code > 0.0
        and abs(percent(other_code / set_code)) <= near
    )


def _resting(gentle: Gentle, rung: Rung) -> Rung | None:
    """The setting at which its channel rests, of the ladder."""
    rest = Setting(rung.setting.channel, 0, 0)
    return next((other for other in gentle.plan.rungs if other.setting == rest), None)


def _relays_tell(gentle: Gentle, rung: Rung) -> bool:
    """Whether the setting differs from that of a channel at rest in something that no word on the bus carries."""
    resting = _resting(gentle, rung)
    return resting is not None and relays_differ(gentle, rung, resting) is True


def relays_differ(gentle: Gentle, rung: Rung, other: Rung) -> bool | None:
    """Whether two settings differ in more than words on the bus; None where words drive relays as well."""
    carried = _carried(gentle)
    return None if carried is None else _outside(rung, carried) != _outside(other, carried)


def _carried(gentle: Gentle) -> frozenset[str] | None:
    """Controls that words carry; None where words drive relays as well."""
    bus = gentle.plan.device.bus
    if bus is None:
        return frozenset()
    fields = [field for layout in (bus.layout, *(member.layout for member in bus.on_bus)) for field in layout]
    if any(field.relay is not None for field in fields):
        return None
    return frozenset(field.control for field in fields if field.control is not None)


def _outside(rung: Rung, carried: frozenset[str]) -> Mapping[str, str | int]:
    return {name: value for name, value in rung.prediction.state.controls if name not in carried}
