"""Faults that change the word itself, at the pins of one gain device or on the bus for everybody who listens."""

from __future__ import annotations

from dataclasses import replace

from harness.simulated.delivery import Before, Delivery
from harness.simulated.fault import Fault
from harness.simulated.unit import UnitTruth

PIN, BUS = "pin", "bus"
PLACES = (PIN, BUS)


class WordFault(Fault):
    """Another word arrives than was sent; who listens on the bus hears it too when the fault sits there."""

    def changed(self, word: int, before: Before) -> int:
        """What becomes of a word."""
        raise NotImplementedError  # pragma: no cover - each of them says

    def deliver(self, delivery: Delivery, before: Before) -> Delivery:
        """Change the word behind the tap, or in front of it."""
        if not self.strikes():
            return delivery
        mask = 2**delivery.frame.bits - 1
        word = self.changed(delivery.word, before)
        if self.place == PIN:
            return replace(delivery, word=word)
        value = self.changed(delivery.frame.value, before) & mask
        return replace(delivery, frame=replace(delivery.frame, value=value), word=word)

    @classmethod
    def highest(cls, unit: UnitTruth) -> float:
        """The top bit of the code."""
        return unit.code_bits - 1
