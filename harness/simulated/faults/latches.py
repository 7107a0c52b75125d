"""Faults of latches and registers: the word is right where it is made, and another one is held."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from harness.simulated.delivery import Before, Delivery
from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.faults.channel_pair import ChannelPair, pair_entry
from harness.simulated.faults.word_fault import BUS, PLACES
from harness.simulated.unit import UnitTruth

_LATE_NS = 150
"""How long behind the clock edge data changes when it belongs to the other edge."""


class LatchMissing(Fault):
    """The latch edge never reaches the gain device."""

    entry = FaultEntry(
        id="F10",
        name="latch-missing",
        kind="product",
        does="the latch edge of the gain device never arrives; its register keeps the power-on word",
        shows="no latch edge on the bus; all fine steps are zero, only relays still change the gain",
        places=PLACES,
        default_place=BUS,
        seam="bus",
    )

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """Nobody takes the word."""
        del before
        if not self.strikes():
            return delivery
        frame = replace(delivery.frame, latched=False) if self.place == BUS else delivery.frame
        return replace(delivery, frame=frame, takers=())


class LatchOneFrameLate(Fault):
    """A latch belongs to the frame before."""

    entry = FaultEntry(
        id="F11",
        name="latch-one-frame-late",
        kind="product",
        does="the latch comes before the word that it should close: the gain device takes the word before",
        shows="every gain is that of the setting before; the residual changes its sign when the sweep is reversed",
        seam="bus",
    )

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """The word sent before to this channel."""
        if not self.strikes():
            return delivery
        late = before.sent.get(delivery.channel, before.registers[delivery.channel])
        return replace(delivery, frame=replace(delivery.frame, latch_first=True), word=late)


class LatchTransparent(Fault):
    """The latch is active while bits are shifted."""

    entry = FaultEntry(
        id="F12",
        name="latch-transparent",
        kind="product",
        does="the latch is active already while the last bits are shifted",
        shows="clock edges under an active latch; gain right once it has settled",
        size="clock edges under the latch",
        default_size=4,
        low=1,
        high=16,
        whole=True,
        seam="bus",
    )

    @classmethod
    def highest(cls, unit: UnitTruth) -> float:
        """All of a word."""
        return unit.word_bits

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """Everything arrives in the end."""
        del before
        if not self.strikes():
            return delivery
        return replace(delivery, frame=replace(delivery.frame, latch_over=round(self.size or 1)))


class LatchesCrossed(ChannelPair):
    """The word of one channel goes to another."""

    entry = pair_entry(
        "F13",
        "latches-crossed",
        "product",
        does="the latch lines of two channels are exchanged",
        shows="right words under the wrong latch; each of the two channels follows the programme of the other",
        seam="bus",
    )

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """The other one takes it."""
        del before
        other = self.other(delivery.channel)
        if other is None or not self.strikes():
            return delivery
        return replace(delivery, frame=replace(delivery.frame, line=other + 1), takers=(other,))


class LatchBroadcast(ChannelPair):
    """Two latches pulse together."""

    entry = pair_entry(
        "F14",
        "latch-broadcast",
        "product",
        does="the latch lines of two channels are connected",
        shows="two latches pulse together; a channel changes when only the other one is written",
        seam="bus",
    )

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """Both take it."""
        del before
        other = self.other(delivery.channel)
        if other is None or not self.strikes():
            return delivery
        frame = replace(delivery.frame, also=(other + 1,))
        return replace(delivery, frame=frame, takers=(delivery.channel, other))


class RegisterResetMidRun(Fault):
    """The gain register loses its word."""

    entry = FaultEntry(
        id="F19",
        name="register-reset-mid-run",
        kind="product",
        does="a dip of the supply resets the gain register, once, just before a record",
        shows="gain jumps to the power-on value without a new word; writing again cures it",
        default_start=20,
        seam="device",
    )

    def resets(self) -> bool:
        """Once for each channel, at the first record that has it; with a chance at any later one."""
        if self.chance < 1.0:
            return self.strikes()
        return self.course.records == self.start - 1


class ChainWrongDevice(Fault):
    """The firmware believes in a longer daisy chain."""

    entry = FaultEntry(
        id="F20",
        name="chain-wrong-device",
        kind="product",
        does="the firmware sends words for more gain devices in one chain than there are; the last one stays",
        shows="twice (or more) as many clock edges as bits; the channel gets the word of another one",
        size="gain devices too many",
        default_size=1,
        low=1,
        high=3,
        whole=True,
        seam="bus",
    )

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """The last word that was shifted stays in the one device that is there."""
        if not self.strikes():
            return delivery
        bits, value = delivery.frame.bits, delivery.frame.value
        others = [c for c in sorted({*before.following, *before.sent}) if c != delivery.channel and c > 0]
        last = delivery.word
        for place in range(round(self.size or 1)):
            last = value
            if others:
                other = others[(delivery.channel + place) % len(others)]
                last = before.following.get(other, before.sent.get(other, 0))
            last &= 2**bits - 1
            value = value << bits | last
        long = replace(delivery.frame, bits=bits * (1 + round(self.size or 1)), value=value)
        return replace(delivery, frame=long, word=last)


FAULTS: Final[tuple[type[Fault], ...]] = (
    LatchMissing,
    LatchOneFrameLate,
    LatchTransparent,
    LatchesCrossed,
    LatchBroadcast,
    RegisterResetMidRun,
    ChainWrongDevice,
)
