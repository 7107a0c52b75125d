"""The source driver: levels in V peak, the interlock before each of them, everything read back."""

from __future__ import annotations

import math

from harness.bench import Clock, Interlock, Link
from harness.config import InstrumentFile, InstrumentSlot
from harness.config.bench_file import Wiring
from harness.drivers.instrument import InstrumentDriver
from harness.drivers.profile import number_text
from harness.errors import BenchError, ConfigError, Problem, ReadBackDiffers, RefusedUnsafe, StationFault

UNIT_PER_VPK = {"vpk": 1.0, "vpp": 2.0, "vrms": 1.0 / math.sqrt(2.0)}
FREQUENCY_TOLERANCE = 1e-5
"""Relative; a sine fit over some tens of cycles still errs by less than 1e-5 in amplitude."""
LOAD_TOLERANCE = 1e-3


class SourceDriver(InstrumentDriver):
    """A sine source by its instrument file."""

    def __init__(
        self,
        link: Link,
        profile: InstrumentFile,
        slot: InstrumentSlot,
        wiring: Wiring,
        interlock: Interlock,
        clock: Clock,
        max_level_vpk: float,
    ) -> None:
        super().__init__(link, profile, slot, clock)
        if profile.ranges is None:
            raise ConfigError((Problem(file=profile.name, key="ranges", got="nothing", allowed="ranges of a source"),))
        self._ranges = profile.ranges
        self._wiring = wiring
        self._interlock = interlock
        self._max_level_vpk = max_level_vpk
        told = wiring.told_ohm
        # The level set holds for the load told; with the load gone it is the open-circuit level that comes out.
        self._share = 1.0 if told == "high-z" else told / (told + wiring.source_ohm)
        self._unit = UNIT_PER_VPK[profile.level_unit]
        self._level_vpk: float | None = None  # as set since the last prepare; steady ones by their amount
        self._steady = False
        self._on = True  # until it is known

    @property
    def min_vpk(self) -> float:
        """Smallest level it can set."""
        return self._ranges.min_vpk * self._share

    @property
    def max_vpk(self) -> float:
        """Largest level it can set for the load it is told."""
        return self._ranges.max_vpk * self._share

    def safe_off(self) -> None:
        """Output off, whatever happened before."""
        try:
            self._off()
        except BenchError:
            # Nothing is read here, so a link whose answers have shifted still carries the command. The reopened one may
            # carry it where the old one did not, also when no sound answer comes back.
            self._try_blind_off()
            try:
                self.resynchronise()
            except BenchError:
                self._try_blind_off()
                raise
            self._off()

    def prepare(self) -> None:
        """Output off, then waveform, offset and load."""
        self._forget()
        self._off()
        self._steady = True  # until it has taken the sine
        told = self._wiring.told_ohm
        word = self._profile.high_z_word if told == "high-z" else number_text(told)
        self._carry_out(self._commands.messages("prepare"), self._commands.messages("load", ohm=word))
        self._steady = False
        question = self._commands.question("load_query")
        load_ohm = self._query_limitless(question)
        high_z = load_ohm >= self._profile.high_z_above_ohm
        right = high_z if told == "high-z" else not high_z and _near(load_ohm, told, LOAD_TOLERANCE)
        if not right:
            wanted = "high-z" if told == "high-z" else f"{told:g} Ω"
            raise StationFault(
                f"the load reads back as {'high-z' if high_z else f'{load_ohm:g} Ω'}; the bench file wants {wanted}: "
                "every level would be wrong by a constant factor",
                fault="source-load-mis-set",
                instrument=self._name,
                address=self._link.address,
                command=question,
            )

    def set_frequency(self, frequency_hz: float) -> float:
        """Set and read back, Hz."""
        ranges = self._ranges
        if not ranges.min_hz <= frequency_hz <= ranges.max_hz:
            raise BenchError(
                f"cannot make {frequency_hz:g} Hz; allowed: {ranges.min_hz:g} to {ranges.max_hz:g} Hz",
                **self._place("frequency"),
            )
        self._carry_out(self._commands.messages("frequency", hz=number_text(frequency_hz)))
        question = self._commands.question("frequency_query")
        read_hz = self._query_number(question)
        if not _near(read_hz, frequency_hz, FREQUENCY_TOLERANCE):
            raise ReadBackDiffers(f"set {frequency_hz:g} Hz, reads back {read_hz:g} Hz", **self._place(question))
        return read_hz

    def set_level(self, level_vpk: float) -> float:
        """Set and read back, V peak."""
        self._check_safe(level_vpk)
        if self._steady:
            raise RefusedUnsafe(
                f"refused {level_vpk:g} V peak: the source puts out steady levels; prepare it for sines first",
                asked_vpk=level_vpk,
                limit_vpk=min(self._interlock.limit_vpk, self._max_level_vpk),
                **self._place("level"),
            )
        if not self.min_vpk <= level_vpk <= self.max_vpk:
            raise BenchError(
                f"cannot make {level_vpk:g} V peak into the load it is told; "
                f"allowed: {self.min_vpk:g} to {self.max_vpk:g} V peak",
                **self._place("level"),
            )
        self._level_vpk = None
        question = self._commands.question("level_query")
        messages = self._commands.messages("level", level=number_text(level_vpk * self._unit))
        (reply,) = self._carry_out(messages, then=(question,))
        read_vpk = self._finite(question, reply) / self._unit
        tolerance_percent = self._ranges.level_tolerance_percent
        if not _near(read_vpk, level_vpk, tolerance_percent / 100.0):
            raise ReadBackDiffers(
                f"set {level_vpk:g} V peak, reads back {read_vpk:g} V peak; allowed: within {tolerance_percent:g} %",
                **self._place(question),
            )
        self._level_vpk = level_vpk
        return read_vpk

    def set_steady(self, level_v: float) -> float:
        """Set and read back, V; the output is off when the sine ends."""
        self._check_safe(abs(level_v))
        step_v = self._ranges.steady_step_v
        if step_v is None or abs(level_v) > self.max_vpk:
            allowed = "no steady level, for its instrument file names no steady and steady_query"
            within = f"{-self.max_vpk:g} to {self.max_vpk:g} V into the load it is told"
            raise BenchError(
                f"cannot make {level_v:g} V steady; allowed: {allowed if step_v is None else within}",
                **self._place("steady"),
            )
        if self._on and not self._steady:
            raise RefusedUnsafe(
                f"refused {level_v:g} V steady while a sine may be put out; switch the output off first",
                asked_vpk=abs(level_v),
                limit_vpk=min(self._interlock.limit_vpk, self._max_level_vpk),
                **self._place("steady"),
            )
        self._level_vpk, self._steady = None, True
        question = self._commands.question("steady_query")
        (reply,) = self._carry_out(self._commands.messages("steady", volts=number_text(level_v)), then=(question,))
        read_v = self._finite(question, reply)
        if not abs(read_v - level_v) <= step_v:
            raise ReadBackDiffers(
                f"set {level_v:g} V steady, reads back {read_v:g} V; allowed: within {step_v:g} V",
                **self._place(question),
            )
        self._level_vpk = abs(level_v)
        return read_v

    def output_on(self) -> None:
        """Output on, at the level set since the last `prepare`."""
        if self._level_vpk is None:
            raise RefusedUnsafe(
                "refused to switch on: no level was set since the source was prepared; set one first",
                asked_vpk=math.nan,
                limit_vpk=min(self._interlock.limit_vpk, self._max_level_vpk),
                **self._place("output_on"),
            )
        self._check_safe(self._level_vpk)  # the impedance may have changed since
        self._switch(on=True)

    def output_off(self) -> None:
        """Output off."""
        self._switch(on=False)

    def _switch(self, *, on: bool) -> None:
        messages = self._commands.messages("output_on" if on else "output_off")
        self._on = True  # whatever becomes of the message
        (reply,) = self._carry_out(messages, then=(self._commands.question("output_query"),))
        self._check_output(reply, on=on)
        self._on = on

    def _off(self) -> None:
        """Off and read back; old errors in the queue are nobody's reason to leave it on."""
        self._on = True
        for message in self._commands.messages("output_off"):
            self._send(message)
        self._check_output(self._query(self._commands.question("output_query")), on=False)
        self._on = False

    def _try_blind_off(self) -> None:
        for message in self._commands.messages("output_off"):
            try:
                self._link.write(self._bytes(message))
            except BenchError:
                return

    def _check_output(self, reply: str, *, on: bool) -> None:
        question = self._commands.question("output_query")
        states = {"1": True, "ON": True, "+1": True, "0": False, "OFF": False, "+0": False}
        state = states.get(reply.upper())
        if state is None:
            raise self._bad_reply(question, reply, "1, ON, 0 or OFF")
        if state != on:
            raise ReadBackDiffers(
                f"the output was switched {'on' if on else 'off'} and reads back {'on' if state else 'off'}",
                **self._place(question),
            )

    def _check_safe(self, level_vpk: float) -> None:
        open_vpk = level_vpk / self._share
        try:
            self._interlock.check(open_vpk)
        except RefusedUnsafe as error:
            raise RefusedUnsafe(
                f"{error.message}; asked for {level_vpk:g} V peak, {open_vpk:g} V peak with the load gone",
                asked_vpk=open_vpk,
                limit_vpk=error.limit_vpk,
                **self._place("level"),
            ) from error
        if open_vpk > self._max_level_vpk:
            raise RefusedUnsafe(
                f"refused {level_vpk:g} V peak, {open_vpk:g} V peak with the load gone: "
                f"the bench file allows {self._max_level_vpk:g} V peak",
                asked_vpk=open_vpk,
                limit_vpk=self._max_level_vpk,
                **self._place("level"),
            )

    def _forget(self) -> None:
        self._level_vpk = None


def _near(value: float, wanted: float, tolerance: float) -> bool:
    return abs(value - wanted) <= tolerance * abs(wanted)
