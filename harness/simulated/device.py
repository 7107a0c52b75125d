"""The simulated recorder: its commands, its settings, its acquisitions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from harness.bench import Clock
from harness.simulated.block import definite_block
from harness.simulated.bus import Bus
from harness.simulated.bus_traffic import Frame
from harness.simulated.cable import Cable
from harness.simulated.error_list import Refusal
from harness.simulated.fault import Fault
from harness.simulated.firmware import Plan, plan
from harness.simulated.front_end import FrontEnd
from harness.simulated.instrument import Instrument
from harness.simulated.parameters import UnitTruth
from harness.simulated.streams import within
from harness.simulated.tree import Suffixes
from harness.simulated.value import HERTZ, PERCENT, VPP, Number, Span, shown

_POINTS, _RATE_HZ = 4000, 500.0e3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Record:
    """The last acquisition."""

    codes: npt.NDArray[np.int16]
    scale_v_per_code: float
    ready_at_s: float


class SimulatedDevice(Instrument):
    """Several channels behind one control bus and one acquisition memory."""

    def __init__(
        self, truth: UnitTruth, clock: Clock, *, seed: int, faults: Sequence[Fault], cable: Cable, bus: Bus
    ) -> None:
        super().__init__(truth, clock, channels=truth.channels)
        self._truth = truth
        self._cable = cable
        self._bus = bus
        self._plan = lru_cache(4096)(lambda coarse, fine: plan(truth, coarse, fine))
        self._coarse = dict.fromkeys(range(1, truth.channels + 1), 0)
        self._fine = dict.fromkeys(range(1, truth.channels + 1), 0)
        self._channel, self._points, self._rate_hz = 1, _POINTS, _RATE_HZ
        self._counter = 0
        self._record: Record | None = None
        self._bias_word = 2 ** (truth.bus.bias_bits - 1) + round(within(seed, "unit/bias", truth.spread.bias_word))
        self.front_ends = {
            channel: FrontEnd(truth, channel, seed=seed, faults=faults, plan=self._plan(0, 0), now_s=self.now_s)
            for channel in self._coarse
        }
        self._commands()

    def reset(self) -> None:
        """Least sensitive range, all words written, the record forgotten."""
        for channel in self._coarse:
            self._coarse[channel] = self._fine[channel] = 0
        self._channel, self._points, self._rate_hz = 1, _POINTS, _RATE_HZ
        self._record = None
        self._write()

    def take_word(self, line: int, word: int, *, now_s: float) -> None:
        """A word that somebody else put on the bus, under the latch of a line."""
        channel = line - 1
        if channel in self.front_ends and all(fault.latch_arrives() for fault in self.front_ends[channel].faults):
            self.front_ends[channel].take_word(word, now_s=now_s)

    def _commands(self) -> None:
        tree, truth = self.tree, self._truth
        volts = [entry.full_scale_vpp for entry in truth.range]
        percents = truth.fine_percents
        tree.number(
            "INPut#:RANGe",
            Number(units=VPP),
            lambda _: Span(low=min(volts), high=max(volts), default=volts[0]),
            get=lambda suffixes: volts[self._coarse[suffixes[0]]],
            put=lambda suffixes, value: self._select(self._coarse, suffixes, _position(volts, value)),
        )
        tree.number(
            "INPut#:FINE",
            Number(units=PERCENT),
            lambda _: Span(low=min(percents), high=max(percents), default=percents[0]),
            get=lambda suffixes: percents[self._fine[suffixes[0]]],
            put=lambda suffixes, value: self._select(self._fine, suffixes, _position(percents, value)),
        )
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

    def _select(self, positions: dict[int, int], suffixes: Suffixes, position: int) -> None:
        positions[suffixes[0]] = position
        self._write()

    def _write(self) -> None:
        """Every change rewrites all gain devices and the bias converter."""
        frames, relay_driven = [], False
        for channel, front_end in self.front_ends.items():
            wanted = self._planned(channel)
            relay_driven |= front_end.take(wanted, now_s=self.now_s)
            latched = all(fault.latch_arrives() for fault in front_end.faults)
            frames.append(Frame(line=channel + 1, bits=wanted.word_bits, value=wanted.word, latched=latched))
        last = len(self._bus.truth.lines) - 1
        frames.append(Frame(line=last, bits=self._truth.bus.bias_bits, value=self._bias_word))
        over_s = self._bus.drive(frames, now_s=self.now_s)
        timing = self._truth.timing
        self.occupy(max(timing.relay_complete_s if relay_driven else timing.fine_complete_s, over_s - self.now_s))

    def _planned(self, channel: int) -> Plan:
        first = self._plan(self._coarse[channel], 0)
        wanted = self._plan(self._coarse[channel], self._fine[channel])
        for fault in self.front_ends[channel].faults:
            wanted = fault.plan(wanted, first)
        return wanted

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
            codes=codes, scale_v_per_code=front_end.plan.scale_v_per_code, ready_at_s=self.now_s + duration_s
        )
        self.occupy(duration_s)

    def _fetched(self) -> Record:
        if self._record is None:
            raise Refusal(-230, "nothing has been acquired yet: INITiate first")
        self.now_s = max(self.now_s, self._record.ready_at_s)
        return self._record


def _position(allowed: Sequence[float], value: float) -> int:
    for index, candidate in enumerate(allowed):
        if abs(value - candidate) <= 1e-6 * candidate:
            return index
    raise Refusal(-222, f"{shown(value)}, allowed {', '.join(map(shown, allowed))}")
