"""Faults of two channels that are exchanged or connected."""

from __future__ import annotations

from harness.simulated.fault import Fault
from harness.simulated.fault_entry import FaultEntry, Kind, Seam
from harness.simulated.unit import UnitTruth


class ChannelPair(Fault):
    """Two channels have to do with each other."""

    @classmethod
    def highest(cls, unit: UnitTruth) -> float:
        """The last channel."""
        return unit.channels

    def other(self, channel: int) -> int | None:
        """The other channel of the pair; None for one that is not in it."""
        pair = (round(self.size or 1), round(self.second or 2))
        if channel not in pair:
            return None
        return pair[1] if channel == pair[0] else pair[0]


def pair_entry(id_: str, name: str, kind: Kind, *, does: str, shows: str, seam: Seam) -> FaultEntry:
    """The entry of a fault of two channels."""
    return FaultEntry(
        id=id_,
        name=name,
        kind=kind,
        does=does,
        shows=shows,
        size="one channel",
        default_size=1,
        low=1,
        high=4,
        whole=True,
        second="the other channel",
        default_second=2,
        second_low=1,
        second_high=None,
        takes_channel=False,
        seam=seam,
    )
