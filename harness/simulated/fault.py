"""What a fault can change: one hook for each place where the bench can be wrong. Each fault overrides a few."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

from harness.simulated.firmware import Plan
from harness.simulated.parts import ChannelParts
from harness.simulated.unit import UnitTruth


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultEntry:
    """One line of the catalogue."""

    name: str
    kind: Literal["product", "station"]
    does: str
    shows: str
    size: str = ""
    """What the size means, with its unit; empty: the fault takes none."""
    default_size: float | None = None
    low: float = 0.0
    high: float = 0.0
    whole: bool = False
    """The size is a whole number."""
    takes_channel: bool = True


class Fault:
    """A fault of one channel, of all channels, or of the station; by itself it changes nothing."""

    entry: ClassVar[FaultEntry]

    def __init__(self, *, channel: int | None = None, size: float | None = None) -> None:
        self.channel = channel
        self.size = self.entry.default_size if size is None else size

    @classmethod
    def highest(cls, unit: UnitTruth) -> float:
        """The largest size that a unit can have."""
        del unit
        return cls.entry.high

    def touches(self, channel: int) -> bool:
        """Whether the fault sits in this channel."""
        return self.channel is None or self.channel == channel

    def parts(self, parts: ChannelParts) -> ChannelParts:
        """The channel's parts, as they are soldered in."""
        return parts

    def relays(self, picked: frozenset[str]) -> frozenset[str]:
        """The relays that really pick of those that are driven."""
        return picked

    def plan(self, plan: Plan, first: Plan) -> Plan:
        """What the firmware does for a setting, when `first` is what it does for fine position 0 of the range."""
        del first
        return plan

    def word_at_pins(self, word: int) -> int:
        """The word as the gain device takes it, of the word on the bus."""
        return word

    def latch_arrives(self) -> bool:
        """Whether the latch edge reaches the device (and the adapter, which listens there)."""
        return True

    def told_ohm(self, asked_ohm: float) -> float:
        """The load the source takes over from its front panel or command, Ω."""
        return asked_ohm

    def load_ohm(self, inputs_ohm: float) -> float:
        """The load that really hangs on the cable, Ω."""
        return inputs_ohm
