"""Faults of the word: bits stuck, swapped, shorted; order, polarity, a wrong row of the table."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from harness.simulated.delivery import Before
from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.faults.word_fault import BUS, PIN, PLACES, WordFault
from harness.simulated.firmware import Plan, Request
from harness.simulated.unit import UnitTruth

_BIT = "bit, 0 is the least significant"
_MOST_BIT = 11


def _two_bits(id_: str, name: str, *, does: str, shows: str, default_place: str) -> FaultEntry:
    """The entry of a fault of two data bits."""
    return FaultEntry(
        id=id_,
        name=name,
        kind="product",
        does=does,
        shows=shows,
        size=_BIT,
        default_size=5,
        high=_MOST_BIT,
        whole=True,
        second="the other bit",
        default_second=6,
        second_high=None,
        places=PLACES,
        default_place=default_place,
        seam="bus",
    )


class DataBitStuckLow(WordFault):
    """A data bit reads 0 at the pin of the gain device; the bus carries the right word."""

    entry = FaultEntry(
        id="F01",
        name="data-bit-stuck-low",
        kind="product",
        does="bit i of the code reads 0 at the gain device; the word on the bus is right",
        shows="gain low by 2^i over the code where bit i is set, right elsewhere; negative steps at carries",
        size=_BIT,
        default_size=4,
        high=_MOST_BIT,
        whole=True,
        places=PLACES,
        default_place=PIN,
        seam="bus",
    )

    def changed(self, word: int, before: Before) -> int:
        """Without the bit."""
        del before
        return word & ~(1 << round(self.size or 0))


class DataBitStuckHigh(WordFault):
    """A data bit reads 1."""

    entry = FaultEntry(
        id="F02",
        name="data-bit-stuck-high",
        kind="product",
        does="bit i of the code reads 1 at the gain device; the word on the bus is right",
        shows="gain high by 2^i over the code where bit i is clear, right elsewhere; plateaus, then jumps",
        size=_BIT,
        default_size=4,
        high=_MOST_BIT,
        whole=True,
        places=PLACES,
        default_place=PIN,
        seam="bus",
    )

    def changed(self, word: int, before: Before) -> int:
        """With the bit."""
        del before
        return word | 1 << round(self.size or 0)


class DataBitsSwapped(WordFault):
    """Two data bits are exchanged."""

    entry = _two_bits(
        "F03",
        "data-bits-swapped",
        does="bits i and j of the code are exchanged",
        shows="gain wrong, of both signs, where the two bits differ; right where they are equal",
        default_place=BUS,
    )

    def changed(self, word: int, before: Before) -> int:
        """Exchanged."""
        del before
        i, j = round(self.size or 0), round(self.second or 0)
        differ = (word >> i ^ word >> j) & 1
        return word ^ (differ << i | differ << j) if i != j else word


class DataBitsShorted(WordFault):
    """Two data bits are connected."""

    entry = _two_bits(
        "F04",
        "data-bits-shorted",
        does="bits i and j of the code are connected: wired OR when i is below j, wired AND when it is above",
        shows="gain wrong, of one sign, where exactly one of the two bits is set",
        default_place=PIN,
    )

    def changed(self, word: int, before: Before) -> int:
        """Both bits alike."""
        del before
        i, j = round(self.size or 0), round(self.second or 0)
        both = 1 << i | 1 << j
        hit = word & both
        level = bool(hit) if i < j else hit == both
        return word | both if level else word & ~both


class DataLineStuck(WordFault):
    """The data line never moves."""

    entry = FaultEntry(
        id="F05",
        name="data-line-stuck",
        kind="product",
        does="the data line stays low or high for ever",
        shows="all words are zeros, or ones; the gain is constant, smallest or largest",
        size="level: 0 low, 1 high",
        default_size=0,
        high=1,
        whole=True,
        places=PLACES,
        default_place=BUS,
        seam="bus",
    )

    @classmethod
    def highest(cls, unit: UnitTruth) -> float:
        """High."""
        del unit
        return 1

    def changed(self, word: int, before: Before) -> int:
        """All bits alike."""
        del word
        return 2**before.word_bits - 1 if self.size else 0


class BitOrderReversed(WordFault):
    """The least significant bit comes first."""

    entry = FaultEntry(
        id="F09",
        name="bit-order-reversed",
        kind="product",
        does="the word is sent least significant bit first",
        shows="mirrored words; gain chaotic, right for words that read the same both ways",
        places=PLACES,
        default_place=BUS,
        seam="bus",
    )

    def changed(self, word: int, before: Before) -> int:
        """Mirrored."""
        bits = before.word_bits
        return sum((word >> k & 1) << (bits - 1 - k) for k in range(bits))


class WordPolarityInverted(WordFault):
    """Bits of the code are inverted."""

    entry = FaultEntry(
        id="F15",
        name="word-polarity-inverted",
        kind="product",
        does="the bits of a mask are inverted in every code",
        shows="the complement of the code; with all bits inverted the steps go the other way",
        size="mask; left out: the whole code",
        high=2**12 - 1,
        whole=True,
        places=PLACES,
        default_place=BUS,
        seam="bus",
    )

    @classmethod
    def highest(cls, unit: UnitTruth) -> float:
        """The whole code."""
        return float(2**unit.code_bits - 1)

    def changed(self, word: int, before: Before) -> int:
        """Inverted under the mask."""
        del before
        code_bits = self.unit.code_bits if self.unit else 1
        return word ^ (2**code_bits - 1 if self.size is None else round(self.size))


class WordTableRowWrong(Fault):
    """One row of the firmware's table of words is wrong."""

    entry = FaultEntry(
        id="F18",
        name="word-table-row-wrong",
        kind="product",
        does="the firmware's word for the middle fine position of the middle range is off by some codes",
        shows="that setting off, its neighbours right: two opposite steps; the gain fits the word that was sent",
        size="codes",
        default_size=16,
        low=-4095,
        high=4095,
        whole=True,
        seam="bus",
    )

    def plan(self, plan: Plan, request: Request) -> Plan:
        """Another code in one row."""
        if not request.in_the_middle or self.unit is None or not self.strikes():
            return plan
        most = 2**self.unit.code_bits - 1
        code = plan.word & most
        return replace(plan, word=plan.word - code + min(max(code + round(self.size or 0), 0), most))


FAULTS: Final[tuple[type[Fault], ...]] = (
    DataBitStuckLow,
    DataBitStuckHigh,
    DataBitsSwapped,
    DataBitsShorted,
    DataLineStuck,
    BitOrderReversed,
    WordPolarityInverted,
    WordTableRowWrong,
)
