"""Faults of the clock line, of timing and levels: the word is right where it is made."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from harness.simulated.delivery import Before, Delivery
from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.faults.word_fault import BUS, PLACES

_LATE_NS = 150
"""How long behind the clock edge data changes when it belongs to the other edge."""


class ClockLineDead(Fault):
    """No clock edges arrive."""

    entry = FaultEntry(
        id="F06",
        name="clock-line-dead",
        kind="product",
        does="no clock edge reaches the gain device",
        shows="latch pulses without clock edges; the gain stays at its power-on value, all steps are zero",
        places=PLACES,
        default_place=BUS,
        seam="bus",
    )

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """The register latches what it held."""
        if not self.strikes():
            return delivery
        frame = replace(delivery.frame, clocked=False) if self.place == BUS else delivery.frame
        return replace(delivery, frame=frame, word=before.registers[delivery.channel])


class ExtraClockEdge(Fault):
    """One clock edge too many."""

    entry = FaultEntry(
        id="F07",
        name="extra-clock-edge",
        kind="product",
        does="a reflection before the latch makes one clock edge too many",
        shows="one edge more than bits; the code is shifted by one, so the gain doubles or falls over its end",
        size="probability for each word",
        default_size=1.0,
        high=1.0,
        places=PLACES,
        default_place=BUS,
        seam="bus",
    )

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """Shifted by one bit."""
        if not (self.strikes() and float(self.dice.random()) < (self.size or 0.0)):
            return delivery
        if self.place == BUS:
            return replace(delivery, frame=replace(delivery.frame, extra_edges=1), sampled=True)
        shifted = delivery.word << 1 | delivery.word & 1
        return replace(delivery, word=shifted & (2**before.word_bits - 1))


class WrongClockEdge(Fault):
    """Data changes behind the clock edge that takes it over."""

    entry = FaultEntry(
        id="F08",
        name="wrong-clock-edge",
        kind="product",
        does="data changes 150 ns behind the clock edge instead of before it",
        shows="each word is shifted by one bit, its first bit is what data was before; gain about halved",
        seam="bus",
    )

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """Each edge takes the bit before."""
        del before
        if not self.strikes():
            return delivery
        return replace(delivery, frame=replace(delivery.frame, setup_ns=-_LATE_NS), sampled=True)


def _chance_at(margin: float, unit_margin: float) -> float:
    """Probability of a wrong bit in a word: 1e-5, 2.2e-3 and 1.5e-2 at a margin of 1, 0 and -1 units.

    Straight lines between the logarithms of these three stand for the noise that a model would need.
    """
    steps = min(max(margin / unit_margin, -2.0), 3.0)
    slope = math.log10(2.2e-3 / 1.0e-5) if steps > 0.0 else math.log10(1.5e-2 / 2.2e-3)
    return float(2.2e-3 * 10.0 ** (-steps * slope))


class SetupHoldMarginal(Fault):
    """Data changes too near to the clock edge."""

    entry = FaultEntry(
        id="F16",
        name="setup-hold-marginal",
        kind="product",
        does="data changes so near to the clock edge that a bit is now and then the one before it",
        shows="set-up time at the limit on the bus; rare single-bit errors, so outliers of one bit weight",
        size="set-up time above what the gain device needs, ns",
        default_size=-5.0,
        low=-9.0,
        high=50.0,
        seam="bus",
    )

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """Late data, and at times a wrong bit where two bits differ."""
        if not self.strikes() or self.unit is None:
            return delivery
        margin_ns = self.size or 0.0
        frame = replace(delivery.frame, setup_ns=self.unit.bus.need_setup_ns + round(margin_ns))
        word = delivery.word
        edges = [k for k in range(before.word_bits - 1) if (word >> k ^ word >> (k + 1)) & 1]
        if edges and float(self.dice.random()) < _chance_at(margin_ns, 5.0):
            word ^= 1 << edges[int(self.dice.integers(len(edges)))]
        return replace(delivery, frame=frame, word=word)


class LogicLevelWeak(Fault):
    """High is hardly above the threshold."""

    entry = FaultEntry(
        id="F17",
        name="logic-level-weak",
        kind="product",
        does="the high level of data is so near to the threshold that a 1 is now and then taken for a 0",
        shows="high level breaks down for some tens of ns; rare single-bit errors, so outliers of one bit weight",
        size="high level above the threshold, V",
        default_size=-0.3,
        low=-0.6,
        high=2.0,
        seam="bus",
    )

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """Weak ones, and at times a zero for a one."""
        if not self.strikes():
            return delivery
        chance = _chance_at(self.size or 0.0, 0.3)
        # At a margin of one unit nothing is seen yet: below it the level breaks down far more often than a bit is lost.
        frame = replace(delivery.frame, weak=min(20.0 * max(chance - _chance_at(0.3, 0.3), 0.0), 0.5))
        word = delivery.word
        ones = [k for k in range(before.word_bits) if word >> k & 1]
        if ones and float(self.dice.random()) < chance:
            word &= ~(1 << ones[int(self.dice.integers(len(ones)))])
        return replace(delivery, frame=frame, word=word)


FAULTS: Final[tuple[type[Fault], ...]] = (
    ClockLineDead,
    ExtraClockEdge,
    WrongClockEdge,
    SetupHoldMarginal,
    LogicLevelWeak,
)
