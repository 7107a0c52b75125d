"""Faults of the tester: source, cable, pad, settings of its instruments, fixture."""

from __future__ import annotations

import math
from typing import Final

from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.faults.channel_pair import ChannelPair, pair_entry
from harness.simulated.parameters import TimingTruth


class _Terminator(Fault):
    """Something hangs on the cable beside the inputs."""

    def load_ohm(self, inputs_ohm: float) -> float:
        """The inputs with the terminator beside them."""
        return inputs_ohm if self.size is None else 1.0 / (1.0 / inputs_ohm + 1.0 / self.size)


class SourceLoadMisSet(_Terminator):
    """The source's load setting is not what hangs on it."""

    STUCK_OHM: Final = 50.0

    entry = FaultEntry(
        id="T1",
        name="source-load-mis-set",
        kind="station",
        does="without size: the source stays at LOAD 50 whatever it is told; with size: a terminator on the cable",
        shows="gain off by one factor on all channels and settings; without size the load reads back as 50",
        size="true load on the cable, ohm",
        low=0.1,
        high=1.0e9,
        takes_channel=False,
        seam="source",
    )

    def told_ohm(self, asked_ohm: float) -> float:
        """50 Ω for ever, unless the fault is a terminator."""
        return self.STUCK_OHM if self.size is None else asked_ohm


class TerminatorWrong(_Terminator):
    """A terminator that the plan does not have."""

    entry = FaultEntry(
        id="T2",
        name="terminator-wrong",
        kind="station",
        does="a terminator hangs on the cable that the plan does not have",
        shows="gain off by one factor on all channels and settings; with 50 ohm exactly half",
        size="its resistance, ohm",
        default_size=50.0,
        low=0.1,
        high=1.0e9,
        takes_channel=False,
        seam="source",
    )


class PadWrong(Fault):
    """The pad between source and device is another one."""

    entry = FaultEntry(
        id="T3",
        name="pad-wrong",
        kind="station",
        does="the pad between source and device loses more than the plan says, or there is one too many",
        shows="gain low by the size on all settings measured through it",
        size="loss that is not in the plan, dB",
        default_size=0.5,
        low=-60.0,
        high=60.0,
        takes_channel=False,
        seam="source",
    )

    def cable_ratio(self) -> float:
        """Less arrives."""
        return math.pow(10.0, -(self.size or 0.0) / 20.0)


class _Factor(Fault):
    """One factor on the level."""

    def cable_ratio(self) -> float:
        """The level that arrives over the one that the plan has."""
        return 1.0 if self.size is None else self.size


class UnitMixUp(_Factor):
    """Peak, peak-to-peak and rms are mixed up."""

    entry = FaultEntry(
        id="T4",
        name="unit-mix-up",
        kind="station",
        does="the source takes the level for another unit: peak-to-peak for rms and the like",
        shows="gain off by an exact factor on all channels and settings",
        size="factor of the level",
        default_size=2.0 * math.sqrt(2.0),
        low=1.0e-3,
        high=1.0e3,
        takes_channel=False,
        seam="source",
    )


class ProbeFactorWrong(_Factor):
    """A probe or divider is not in the plan."""

    entry = FaultEntry(
        id="T5",
        name="probe-factor-wrong",
        kind="station",
        does="the factor of a probe or divider is not set",
        shows="gain off by exactly 10 on all channels and settings",
        size="factor of the level",
        default_size=10.0,
        low=1.0e-3,
        high=1.0e3,
        takes_channel=False,
        seam="source",
    )


class SettleTooShort(Fault):
    """The waits are too short for what is measured."""

    entry = FaultEntry(
        id="T6",
        name="settle-too-short",
        kind="station",
        does="everything settles so slowly that the station's waits are too short",
        shows="the first reading after a change is off, on all channels; the second one is right",
        size="wait over settling time constant",
        default_size=5.0,
        low=0.1,
        high=1000.0,
        takes_channel=False,
    )

    def timing(self, timing: TimingTruth) -> TimingTruth:
        """Time constants as a share of the waits."""
        ratio = self.size or 1.0
        slow = {
            "relay_tau_s": max(timing.relay_complete_s / ratio, timing.relay_tau_s),
            "fine_tau_s": max(timing.fine_complete_s / ratio, timing.fine_tau_s),
        }
        return timing.model_copy(update=slow)


class AveragingLeftOn(Fault):
    """The acquisition averages."""

    entry = FaultEntry(
        id="T7",
        name="averaging-left-on",
        kind="station",
        does="the acquisition averages several records and cannot be told otherwise",
        shows="mode reads back AVER; noise too low, gaps in the codes are filled",
        size="records that are averaged",
        default_size=8,
        low=1,
        high=64,
        whole=True,
        takes_channel=False,
    )

    def averages(self) -> int:
        """So many."""
        return round(self.size or 1)

    def mode(self, mode: str) -> str:
        """It does not hide it."""
        return "AVERage" if self.averages() > 1 and self.begun else mode


class CablesSwapped(ChannelPair):
    """The cables of two channels are exchanged."""

    entry = pair_entry(
        "T8",
        "cables-swapped",
        "station",
        does="what is recorded as one channel is another one, and the reverse",
        shows="each of the two channels follows the programme of the other; words under the right latch",
        seam="device",
    )

    def recorded_channel(self, channel: int) -> int:
        """The other one of the pair."""
        other = self.other(channel)
        return channel if other is None or not self.strikes() else other


class StaleRecord(Fault):
    """The record is not renewed."""

    entry = FaultEntry(
        id="T9",
        name="stale-record",
        kind="station",
        does="an acquisition does not replace the record before",
        shows="the acquisition counter stands still; codes of the setting before",
        takes_channel=False,
        default_start=2,
    )

    def renewed(self) -> bool:
        """Not when it strikes."""
        return not self.strikes()


class AutorangeOn(Fault):
    """The instrument chooses a range by itself."""

    entry = FaultEntry(
        id="T10",
        name="autorange-on",
        kind="station",
        does="the unit goes to the next range by itself when a range is selected",
        shows="the range reads back differently from what was sent",
        takes_channel=False,
    )

    def position(self, place: int, *, coarse: bool) -> int:
        """The neighbour towards the less sensitive end."""
        if not coarse or not self.strikes():
            return place
        return place - 1 if place else 1


class ReferenceMeterDrifted(Fault):
    """What the levels are traced to has drifted."""

    entry = FaultEntry(
        id="T11",
        name="reference-meter-drifted",
        kind="station",
        does="the reference meter has drifted; without one on the bench, that by which the source was set",
        shows="gain off by one factor on all channels and settings, and on every other unit as well",
        size="drift, percent",
        default_size=0.5,
        low=-50.0,
        high=50.0,
        takes_channel=False,
        seam="source",
    )

    def cable_ratio(self) -> float:
        """The level follows the meter by which the source was set."""
        return 1.0 if self.course.metered else 1.0 + (self.size or 0.0) / 100.0

    def meter_ratio(self) -> float:
        """The meter on the bench reads so much too high."""
        return 1.0 + (self.size or 0.0) / 100.0


class FixtureWorn(Fault):
    """The contacts between cable and device are worn."""

    entry = FaultEntry(
        id="T12",
        name="fixture-worn",
        kind="station",
        does="the contact between cable and device is another one each time the source is switched on",
        shows="gain scatters between ranges and repeats, on every unit of this station",
        size="standard deviation, percent",
        default_size=0.3,
        high=50.0,
        takes_channel=False,
        seam="source",
    )

    _ratio = 1.0

    def switched_on(self) -> None:
        """Another contact."""
        self._ratio = 1.0 + (self.size or 0.0) / 100.0 * float(self.dice.normal())

    def cable_ratio(self) -> float:
        """As it is now."""
        return self._ratio


FAULTS: Final[tuple[type[Fault], ...]] = (
    SourceLoadMisSet,
    TerminatorWrong,
    PadWrong,
    UnitMixUp,
    ProbeFactorWrong,
    SettleTooShort,
    AveragingLeftOn,
    CablesSwapped,
    StaleRecord,
    AutorangeOn,
    ReferenceMeterDrifted,
    FixtureWorn,
)
