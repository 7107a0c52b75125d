"""The simulated device as an acquisition instrument: channels, acquisitions, words from the bus."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.bench import Clock
from harness.simulated.beside import Beside
from harness.simulated.block import definite_block
from harness.simulated.bus import Bus
from harness.simulated.cable import Cable
from harness.simulated.catalogue import add_catalogue
from harness.simulated.climate import Climate
from harness.simulated.control_path import ControlPath
from harness.simulated.course import Course
from harness.simulated.error_list import Refusal
from harness.simulated.fault import Fault
from harness.simulated.firmware import Request, Shown
from harness.simulated.front_end import FrontEnd
from harness.simulated.instrument import Instrument
from harness.simulated.parameters import ClimateTruth
from harness.simulated.streams import Seed
from harness.simulated.tree import Leaf, Suffixes
from harness.simulated.unit import UnitTruth
from harness.simulated.value import HERTZ, Number, Span, shown, word

_POINTS, _RATE_HZ = 4000, 500.0e3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Record:
    """The last acquisition."""

    codes: npt.NDArray[np.int16]
    scale_v_per_code: float
    ready_at_s: float


class SimulatedDevice(Instrument):
    """Several channels behind one control bus and one acquisition memory; by itself its gain is set by words only."""

    def __init__(
        self,
        truth: UnitTruth,
        clock: Clock,
        *,
        seed: Seed,
        faults: Sequence[Fault],
        cable: Cable,
        bus: Bus,
        climate: Climate | None = None,
        course: Course | None = None,
        beside: Beside | None = None,
    ) -> None:
        super().__init__(truth, clock, channels=truth.channels)
        self._truth = truth
        self._cable = cable
        self._beside = beside
        self._faults = tuple(faults)
        self._course = course or Course()
        self._channel, self._points, self._rate_hz = 1, _POINTS, _RATE_HZ
        self._counter = 0
        self._record: Record | None = None
        first = truth.plan(0, 0)
        climate = climate or Climate(ClimateTruth(), self._course, began_s=self.now_s)
        self.front_ends = {
            channel: FrontEnd(truth, channel, seed=seed, faults=faults, plan=first, climate=climate, now_s=self.now_s)
            for channel in range(1, truth.channels + 1)
        }
        for front_end in self.front_ends.values():
            front_end.others = tuple(
                other
                for other in self.front_ends.values()
                if other is not front_end and not (beside is not None and beside.channel == other.channel)
            )
            if beside is not None and beside.channel != front_end.channel:
                front_end.beside, front_end.driven_beside = beside, self.front_ends.get(beside.channel)
        self.control_path = ControlPath(bus, self.front_ends, word_bits=truth.word_bits, faults=faults)
        self._acquisition()

    def reset(self) -> None:
        """The record is forgotten; the gain registers keep their words."""
        self._channel, self._points, self._rate_hz = 1, _POINTS, _RATE_HZ
        self._record = None

    def pulsed(self, *, reset: bool) -> None:
        """A pulse on a control line that nobody meant: the gain devices are reset, or clocked once."""
        if not reset:
            self.control_path.nudge()
            return
        for front_end in self.front_ends.values():
            front_end.take_word(self._truth.power_on_word, now_s=self.now_s)

    def displayed_v_per_code(self, channel: int) -> float:
        """Input volts a code, as displayed beside a record of a channel."""
        front_end = self.front_ends[channel]
        scale_v_per_code = front_end.plan.scale_v_per_code
        for fault in front_end.held:
            shown = Shown(
                scale_v_per_code=scale_v_per_code,
                before_v_per_code=front_end.plan_before.scale_v_per_code,
                request=self._request(channel),
            )
            scale_v_per_code = fault.shown(shown)
        return scale_v_per_code

    def _request(self, channel: int) -> Request | None:
        """The setting of a channel; a bare gain stage has none."""
        del channel
        return None

    def _acquisition(self) -> None:
        tree, truth = self.tree, self._truth
        tree.query("INPut#:IMPedance", lambda _: shown(truth.input_ohm))
        add_catalogue(tree, truth)
        tree.word("ACQuire:MODE", ("SAMPle",), get=self._mode, put=lambda _: None)
        tree.add("INPut#:RELay:CYCLes", Leaf(ask=self._cycles, ask_takes=(1, 1)))
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
        tree.query("FETCh:CODEs", lambda _: definite_block(self._samples()))

    def _counted(self, pattern: str, name: str, low: int, high: int, default: int) -> None:
        self.tree.number(
            pattern,
            Number(),
            lambda _: Span(low=low, high=high, default=default),
            get=lambda _: float(getattr(self, name)),
            put=lambda _, value: setattr(self, name, round(value)),
        )

    def _mode(self) -> str:
        mode = "SAMPle"
        for fault in self._faults:
            mode = fault.mode(mode)
        return mode

    def _cycles(self, suffixes: Suffixes, parameters: tuple[str, ...]) -> str:
        """How often a relay of a channel has moved since power on, by its name."""
        names = self._truth.relay_names
        if not names:
            raise Refusal(-241, "this unit has no relays")
        return str(self.front_ends[suffixes[0]].toggles.get(word(parameters[0], names), 0))

    def _start(self) -> None:
        if self._record is not None and self.now_s < self._record.ready_at_s:
            raise Refusal(-213, "an acquisition is under way")
        for fault in self._faults:
            fault.tick()
        for front_end in self.front_ends.values():
            front_end.begin_record(now_s=self.now_s)
        duration_s = self._points / self._rate_hz
        if self._record is None or all(fault.renewed() for fault in self._faults):
            self._counter += 1
            self._record = self._new_record(duration_s)
        self._course.records += 1
        self.occupy(duration_s)

    def _new_record(self, duration_s: float) -> Record:
        channel = self._channel
        for fault in self._faults:
            channel = fault.recorded_channel(channel)
        other = self._beside is not None and self._beside.channel == channel
        codes = self.front_ends[channel].acquire(
            self._beside.cable if self._beside is not None and other else self._cable,
            now_s=self.now_s,
            samples=self._points,
            rate_hz=self._rate_hz,
            counter=self._counter,
        )
        scale_v_per_code = self.displayed_v_per_code(self._channel)
        return Record(codes=codes, scale_v_per_code=scale_v_per_code, ready_at_s=self.now_s + duration_s)

    def _samples(self) -> bytes:
        record = self._fetched()
        if self._truth.record == "codes":
            return record.codes.tobytes()
        return (record.codes * np.float64(record.scale_v_per_code)).astype("<f4").tobytes()

    def _fetched(self) -> Record:
        if self._record is None:
            raise Refusal(-230, "nothing has been acquired yet: INITiate first")
        self.now_s = max(self.now_s, self._record.ready_at_s)
        return self._record
