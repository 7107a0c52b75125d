"""The catalogue of faults that the simulated bench can have; one small class each."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.firmware import Plan
from harness.simulated.parts import ChannelParts
from harness.simulated.unit import UnitTruth


class DataBitStuckLow(Fault):
    """A data bit reads 0 at the pin of the gain device; the bus carries the right word."""

    entry = FaultEntry(
        name="data-bit-stuck-low",
        kind="product",
        does="bit i of the code reads 0 at the gain device; the word on the bus is right",
        shows="gain low by 2^i over the code where bit i is set, right elsewhere; negative steps at carries",
        size="bit, 0 is the least significant",
        default_size=4,
        low=0,
        high=11,
        whole=True,
    )

    @classmethod
    def highest(cls, unit: UnitTruth) -> float:
        """The top bit of its code."""
        return unit.code_bits - 1

    def word_at_pins(self, word: int) -> int:
        """The word without the bit."""
        return word & ~(1 << round(self.size or 0))


class RelayNotPicking(Fault):
    """A relay of the input does not pick."""

    entry = FaultEntry(
        name="relay-not-picking",
        kind="product",
        does="relay K1 or K2 of the input (attenuator 1:10 or 1:100, amplifier x10 or x100) does not pick",
        shows="gain off by a factor of 10 or 100 on every range that needs the relay, others right",
        size="relay: 1 for K1, 2 for K2",
        default_size=1,
        low=1,
        high=2,
        whole=True,
    )

    def relays(self, picked: frozenset[str]) -> frozenset[str]:
        """All but the dead one."""
        return picked - {f"K{round(self.size or 0)}"}


class PregainRatioWrong(Fault):
    """A resistor of the pre-gain stage, or of the second amplifier, has a wrong value."""

    entry = FaultEntry(
        name="pregain-ratio-wrong",
        kind="product",
        does="the pre-gain stage (of an ultrasonic receiver: the second amplifier) has another ratio than designed",
        shows="gain off by the size on every setting that uses that stage, others right",
        size="error of the ratio, percent",
        default_size=5.0,
        low=-90.0,
        high=900.0,
    )

    def parts(self, parts: ChannelParts) -> ChannelParts:
        """With the wrong resistor."""
        return replace(parts, pregain_ratio=parts.pregain_ratio * (1.0 + (self.size or 0.0) / 100.0))


class LatchMissing(Fault):
    """The latch edge never reaches the gain device."""

    entry = FaultEntry(
        name="latch-missing",
        kind="product",
        does="the latch edge of the gain device never arrives; its register keeps the power-on word",
        shows="no latch edge on the bus; all fine steps are zero, only relays still change the gain",
    )

    def latch_arrives(self) -> bool:
        """Never."""
        return False


class FineGainArithmetic(Fault):
    """Fine gain by multiplication of codes, where hardware is specified."""

    entry = FaultEntry(
        name="fine-gain-arithmetic",
        kind="product",
        does="the word of fine position 0 is sent for every fine position, the codes are multiplied instead",
        shows="the same word throughout a range; gain right, gaps in the codes",
    )

    def plan(self, plan: Plan, first: Plan) -> Plan:
        """The first position's hardware, with the rest as arithmetic."""
        return replace(first, hidden_ratio=plan.fine_ratio)


class LoadResistorMissing(Fault):
    """The load resistor of the gain stage's output is missing."""

    entry = FaultEntry(
        name="load-resistor-missing",
        kind="product",
        does="the load resistor behind the gain stage is missing",
        shows="gain times the size on every setting",
        size="factor of the gain",
        default_size=2.0,
        low=0.01,
        high=100.0,
    )

    def parts(self, parts: ChannelParts) -> ChannelParts:
        """Without the divider that source and load form."""
        return replace(parts, loading_ratio=parts.loading_ratio * (self.size or 1.0))


class SourceLoadMisSet(Fault):
    """The source's load setting is not what hangs on it."""

    STUCK_OHM: Final = 50.0

    entry = FaultEntry(
        name="source-load-mis-set",
        kind="station",
        does="without size: the source stays at LOAD 50 whatever it is told; with size: a terminator on the cable",
        shows="gain off by one factor on all channels and settings; without size the load reads back as 50",
        size="true load on the cable, ohm",
        low=0.1,
        high=1.0e9,
        takes_channel=False,
    )

    def told_ohm(self, asked_ohm: float) -> float:
        """50 Ω for ever, unless the fault is a terminator."""
        return self.STUCK_OHM if self.size is None else asked_ohm

    def load_ohm(self, inputs_ohm: float) -> float:
        """The inputs with the terminator beside them."""
        return inputs_ohm if self.size is None else 1.0 / (1.0 / inputs_ohm + 1.0 / self.size)


FAULTS: Final[tuple[type[Fault], ...]] = (
    DataBitStuckLow,
    RelayNotPicking,
    PregainRatioWrong,
    LatchMissing,
    FineGainArithmetic,
    LoadResistorMissing,
    SourceLoadMisSet,
)


def catalogue() -> tuple[FaultEntry, ...]:
    """Every fault the simulated bench can have."""
    return tuple(fault.entry for fault in FAULTS)
