"""The simulated device as an acquisition instrument: channels, acquisitions, words from the bus."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.bench import Clock
from harness.simulated.block import definite_block
from harness.simulated.bus import Bus
from harness.simulated.cable import Cable
from harness.simulated.error_list import Refusal
from harness.simulated.fault import Fault
from harness.simulated.front_end import FrontEnd
from harness.simulated.instrument import Instrument
from harness.simulated.unit import UnitTruth
from harness.simulated.value import HERTZ, Number, Span, shown

_POINTS, _RATE_HZ = 4000, 500.0e3
_HISTORY_BITS = 64
"""How much of what was shifted is remembered: the longest word that an adapter can load."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Record:
    """The last acquisition."""

    codes: npt.NDArray[np.int16]
    scale_v_per_code: float
    ready_at_s: float


class SimulatedDevice(Instrument):
    """Several channels behind one control bus and one acquisition memory; by itself its gain is set by words only."""

    def __init__(
        self, truth: UnitTruth, clock: Clock, *, seed: int, faults: Sequence[Fault], cable: Cable, bus: Bus
    ) -> None:
        super().__init__(truth, clock, channels=truth.channels)
        self._truth = truth
        self._cable = cable
        self._bus = bus
        self._channel, self._points, self._rate_hz = 1, _POINTS, _RATE_HZ
        self._counter = 0
        self._record: Record | None = None
        self._shifted = 0
        first = truth.plan(0, 0)
        self.front_ends = {
            channel: FrontEnd(truth, channel, seed=seed, faults=faults, plan=first, now_s=self.now_s)
            for channel in range(1, truth.channels + 1)
        }
        self._acquisition()

    def reset(self) -> None:
        """The record is forgotten; the gain registers keep their words."""
        self._channel, self._points, self._rate_hz = 1, _POINTS, _RATE_HZ
        self._record = None

    def latched(self, line: int) -> bool:
        """Whether a pulse on a latch line gets as far as the device, and the adapter that listens there."""
        front_end = self.front_ends.get(line - 1)
        return front_end is None or front_end.latched

    def take_word(self, line: int, bits: int, word: int, *, now_s: float) -> None:
        """A word on the bus, under the latch of a line; a gain device keeps the last bits that were shifted."""
        self._shifted = (self._shifted << bits | word) & (2**_HISTORY_BITS - 1)
        front_end = self.front_ends.get(line - 1)
        if front_end is not None and front_end.latched:
            front_end.take_word(self._shifted & (2**self._truth.word_bits - 1), now_s=now_s)

    def displayed_v_per_code(self, channel: int) -> float:
        """Input volts a code, as displayed beside a record of a channel."""
        return self.front_ends[channel].plan.scale_v_per_code

    def _acquisition(self) -> None:
        tree, truth = self.tree, self._truth
        tree.query("INPut#:IMPedance", lambda _: shown(truth.input_ohm))
        tree.word("ACQuire:MODE", ("SAMPle",), get=lambda: "SAMPle", put=lambda _: None)
        self._counted("ACQuire:POINts", "_points", 64, truth.max_points, _POINTS)
        self._counted("ACQuire:CHANnel", "_channel", 1, truth.channels, 1)
        tree.number(
            "ACQuire:SRATe",
            Number(units=HERTZ),
            lambda _: Span(low=1.0, high=truth.max_rate_hz, default=_RATE_HZ),
            get=lambda _: self._rate_hz,
            put=lambda _, hertz: setattr(self, "_rate_hz", hertz),
        )
        tree.action("INITiate[:IMMediate]", self._start)
        tree.query("FETCh:SCALe", lambda _: shown(self._fetched().scale_v_per_code))
        tree.query("FETCh:SEQuence", lambda _: str(self._counter))
        tree.query("FETCh:CODEs", lambda _: definite_block(self._fetched().codes.tobytes()))

    def _counted(self, pattern: str, name: str, low: int, high: int, default: int) -> None:
        self.tree.number(
            pattern,
            Number(),
            lambda _: Span(low=low, high=high, default=default),
            get=lambda _: float(getattr(self, name)),
            put=lambda _, value: setattr(self, name, round(value)),
        )

    def _start(self) -> None:
        if self._record is not None and self.now_s < self._record.ready_at_s:
            raise Refusal(-213, "an acquisition is under way")
        self._counter += 1
        front_end = self.front_ends[self._channel]
        codes = front_end.acquire(
            self._cable, now_s=self.now_s, samples=self._points, rate_hz=self._rate_hz, counter=self._counter
        )
        duration_s = self._points / self._rate_hz
        self._record = Record(
            codes=codes, scale_v_per_code=self.displayed_v_per_code(self._channel), ready_at_s=self.now_s + duration_s
        )
        self.occupy(duration_s)

    def _fetched(self) -> Record:
        if self._record is None:
            raise Refusal(-230, "nothing has been acquired yet: INITiate first")
        self.now_s = max(self.now_s, self._record.ready_at_s)
        return self._record
