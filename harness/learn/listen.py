"""The source off, one control moved at a time, and an ear on the control bus."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from harness.bus import BusWiring, LabelledCapture, Roles, find_roles
from harness.errors import CaptureError, LearnError
from harness.learn.taken import taken
from harness.sweep import Bench
from harness.values import Setting

MOST_POSITIONS = 33
"""Fine positions visited in one range: enough for every bit of a code to move."""
MOST_RANGES = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One setting to visit."""

    setting: Setting
    rank: float | None
    """Place in an order in which the word should go one way; None for a change of range."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What the bus said."""

    roles: Roles
    wiring: BusWiring | None
    """None where an answer that decoding needs is missing."""
    latches: Mapping[int, tuple[str, ...]]
    """Latches whose word follows a channel, by channel; the words of others stay."""
    troubles: tuple[str, ...]
    """What is wrong, and what to do."""


def moves(channels: int, ranges: int, positions: int) -> Iterator[Move]:
    """Which settings to visit: for each channel all ranges, then the fine positions of the middle one.

    Args:
        channels: how many.
        ranges: how many.
        positions: fine positions, how many.
    Yields:
        settings in their order.
    Source:
        common practice, no source: one control at a time.
    """
    middle = ranges // 2
    for channel in range(1, channels + 1):
        for coarse in _spread(ranges, MOST_RANGES):
            yield Move(setting=Setting(channel, coarse, 0), rank=None)
        for fine in _spread(positions, MOST_POSITIONS):
            yield Move(setting=Setting(channel, middle, fine), rank=float(fine))


def _spread(count: int, most: int) -> tuple[int, ...]:
    if count <= most:
        return tuple(range(count))
    return tuple(sorted({round(k * (count - 1) / (most - 1)) for k in range(most)}))


def captures_of(bench: Bench, visits: Sequence[Move]) -> tuple[LabelledCapture, ...]:
    """Visit settings with the source off, and keep what the adapter saw.

    LearnError when the bench has no adapter; a BenchError leaves with the source off.
    """
    adapter = bench.adapter
    if adapter is None:
        raise LearnError("learn: nobody listens; allowed is a bench with an [adapter], or no [probed] lines: add one")
    bench.source.safe_off()
    bench.device.prepare()
    found: list[LabelledCapture] = []
    for move in visits:
        adapter.arm()
        bench.device.select(move.setting)
        found.append(LabelledCapture(capture=adapter.fetch(), channel=move.setting.channel, rank=move.rank))
    return tuple(found)


def hear(captures: Sequence[LabelledCapture], *, minimum_pulse_ns: float, channels: int) -> Heard:
    """What the captures say of lines, words and latches; CaptureError as `find_roles`."""
    roles = find_roles(tuple(captures), minimum_pulse_ns=minimum_pulse_ns)
    wiring = roles.wiring(minimum_pulse_ns)
    if wiring is None:
        questions = (
            ("clock", roles.clock), ("data", roles.data),
            ("clock edge", roles.clock_edge), ("latch edge", roles.latch_edge),
        )  # fmt: skip
        missing = [f"{name}: {found.evidence}" for name, found in questions if not found.told]
        todo = "check that the probes sit on the wires and share a ground; lengthen the list of settings"
        return Heard(roles=roles, wiring=None, latches={}, troubles=(*missing, todo))
    moving = _moving(captures, wiring)
    latches = {channel: own_latches(channel, moving, wiring) for channel in range(1, channels + 1)}
    troubles = tuple(
        f"channel {channel}: no word follows it: its latch is dead, not probed, or the channel is not set over this bus"
        for channel, own in latches.items()
        if not own
    )
    return Heard(roles=roles, wiring=wiring, latches=latches, troubles=(*troubles, *_silent(captures)))


def _silent(captures: Sequence[LabelledCapture]) -> tuple[str, ...]:
    """Lines on which nothing ever happened."""
    moved = 0
    for labelled in captures:
        for level in {int(level) for level in labelled.capture.levels}:
            moved |= level ^ labelled.capture.initial
    lines = captures[0].capture.lines if captures else ()
    still = [line for place, line in enumerate(lines) if not moved >> place & 1]
    if not still:
        return ()
    what = "a latch that never comes, a wire that nobody drives, or a probe without contact"
    return (f"no edge on {', '.join(still)}: {what}",)


def _moving(captures: Sequence[LabelledCapture], wiring: BusWiring) -> dict[int, set[str]]:
    """Latches whose words changed while each channel was moved."""
    words: dict[tuple[int, str], set[int]] = {}
    for labelled in captures:
        if labelled.channel is None:
            continue
        try:
            heard = tuple(taken(labelled.capture, wiring))
        except CaptureError:
            continue
        for latch, word in heard:
            if word is not None:
                words.setdefault((labelled.channel, latch), set()).add(word.value)
    found: dict[int, set[str]] = {}
    for (channel, latch), values in words.items():
        if len(values) > 1:
            found.setdefault(channel, set()).add(latch)
    return found


def own_latches(channel: int, moving: Mapping[int, set[str]], wiring: BusWiring) -> tuple[str, ...]:
    """The latches of one channel: those that move with it and with no other, else those that move with it.

    Args:
        channel: 1-based.
        moving: latches whose words changed while each channel was moved.
        wiring: for the order.
    Returns:
        latch lines in order of the wiring.
    Source:
        common practice, no source.
    """
    mine = moving.get(channel, set())
    others = set().union(*(latches for other, latches in moving.items() if other != channel))
    own = mine - others or mine
    return tuple(latch for latch in wiring.latches if latch in own)
