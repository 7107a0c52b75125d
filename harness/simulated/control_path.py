"""From the controller's words to the gain devices, past everything that can go wrong in between."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from harness.simulated.bus import Bus
from harness.simulated.bus_traffic import DATA, Frame
from harness.simulated.delivery import Before, Delivery
from harness.simulated.fault import Fault
from harness.simulated.front_end import FrontEnd
from harness.simulated.shift_register import latched_bits

_HISTORY_BITS = 64
"""How much of what was shifted is remembered: the longest word that an adapter can load."""


class ControlPath:
    """The shared data and clock lines with a latch for each gain device."""

    def __init__(
        self, bus: Bus, front_ends: Mapping[int, FrontEnd], *, word_bits: int, faults: Sequence[Fault]
    ) -> None:
        self._bus = bus
        self._front_ends = front_ends
        self._word_bits = word_bits
        self._faults = tuple(faults)
        self._shifted = 0
        self._sent: dict[int, int] = {}

    def send(self, frames: Sequence[Frame], *, now_s: float) -> float:
        """Shift out frames one behind the other; the gain devices take what arrives. When it is over, s."""
        before_bits = self._shifted
        deliveries = [self._delivery(frame, frames) for frame in frames]
        levels = self._bus.levels
        over_s = self._bus.drive([delivery.frame for delivery in deliveries], now_s=now_s)
        sampled: Mapping[int, int] = {}
        if any(delivery.sampled for delivery in deliveries) and self._bus.last is not None:
            sampled = latched_bits(self._bus.last, before_levels=levels, before_bits=before_bits)
        for delivery in deliveries:
            word = delivery.word
            if delivery.sampled:
                word = sampled.get(delivery.frame.line, word) & (2**self._word_bits - 1)
            for channel in delivery.takers:
                self._front_ends[channel].take_word(word, now_s=now_s)
        return over_s

    def nudge(self) -> None:
        """One clock edge that nobody meant."""
        self._shifted = self._shifted << 1 & (2**_HISTORY_BITS - 1) | self._bus.levels >> DATA & 1

    def _delivery(self, frame: Frame, burst: Sequence[Frame]) -> Delivery:
        before_bits = self._shifted
        self._shifted = (self._shifted << frame.bits | frame.value) & (2**_HISTORY_BITS - 1)
        channel = frame.line - 1 if frame.line - 1 in self._front_ends else 0
        delivery = Delivery(
            channel=channel,
            frame=frame,
            word=self._shifted & (2**self._word_bits - 1),
            takers=(channel,) if channel else (),
        )
        if channel and self._faults:
            before = Before(
                word_bits=self._word_bits,
                data=before_bits & 1,
                shifted=before_bits,
                sent=self._sent,
                registers={number: front_end.register for number, front_end in self._front_ends.items()},
                following={other.line - 1: other.value for other in burst},
            )
            for fault in self._faults:
                if fault.touches(channel):
                    delivery = fault.deliver(delivery, before)
        if channel:
            self._sent[channel] = frame.value
        return delivery
