"""Faults of the computer that runs the tool: disk, process, clock, store, operator."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from typing import Final

from harness.bench import Recorder
from harness.errors import StoreUnavailable
from harness.simulated.clock import JumpClock
from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.faults.link_fault import Line, LinkFault
from harness.values import Reading

_FIRST = 10
BUSY_LIMIT_S = 30.0
"""How long a store may be held by somebody else."""


class MeddledRecorder:
    """Passes readings on; something happens before or after one of them."""

    def __init__(
        self, inner: Recorder, *, before: Callable[[Reading | None], None], after: Callable[[Reading], None]
    ) -> None:
        self._inner = inner
        self._before = before
        self._after = after

    def record(self, reading: Reading) -> None:
        """Commit one reading."""
        self._before(reading)
        self._inner.record(reading)
        self._after(reading)

    def note(self, kind: str, text: str) -> None:
        """Commit one line of the journal."""
        self._before(None)
        self._inner.note(kind, text)

    def __getattr__(self, name: str) -> object:
        """All else is the store's."""
        return getattr(self._inner, name)


class _RecorderFault(Fault):
    """Something happens when a reading is committed."""

    def recorder(self, recorder: Recorder) -> Recorder:
        """In between."""
        return MeddledRecorder(recorder, before=self.before, after=self.after)

    def before(self, reading: Reading | None) -> None:
        """A reading, or a line of the journal (None), is about to be committed."""

    def after(self, reading: Reading) -> None:
        """A reading is durable, and nobody knows it yet."""

    def reached(self, reading: Reading | None) -> bool:
        """Whether it is the first faulty reading; readings count from 1."""
        return reading is not None and reading.index == self.start - 1


class DiskFull(_RecorderFault):
    """The store cannot grow."""

    entry = FaultEntry(
        id="I21",
        name="disk-full",
        kind="io",
        does="the disk of the store is full from a reading on",
        shows="the store refuses; the run stops with the source off",
        takes_channel=False,
        default_start=_FIRST,
        seam="process",
    )

    _full = False

    def before(self, reading: Reading | None) -> None:
        """No room, for the journal neither."""
        self._full = self._full or self.reached(reading)
        if self._full:
            raise StoreUnavailable("the disk is full (injected): make room, then resume the run")


class PowerCutBeforeAcknowledge(_RecorderFault):
    """Power goes just before or just after a commit."""

    entry = FaultEntry(
        id="I22",
        name="power-cut-before-acknowledge",
        kind="io",
        does="power is cut at a reading: 1 after the commit and before anybody knows, 2 before the commit",
        shows="on restart each reading is there once; the run is marked interrupted",
        size="1 after, 2 before the commit",
        default_size=1,
        low=1,
        high=2,
        whole=True,
        takes_channel=False,
        default_start=_FIRST,
        seam="process",
    )

    def before(self, reading: Reading | None) -> None:
        """Not yet written."""
        if self.size == 2 and self.reached(reading):
            end_process(hard=True)

    def after(self, reading: Reading) -> None:
        """Written."""
        if self.size == 1 and self.reached(reading):
            end_process(hard=True)


class ProcessKilled(_RecorderFault):
    """The process is ended from outside."""

    entry = FaultEntry(
        id="I23",
        name="process-killed",
        kind="io",
        does="the tool is ended after a reading: 1 politely (termination signal), 2 hard",
        shows="readings end; politely the source is off, hard the watchdog or the next start switches it off",
        size="1 politely, 2 hard",
        default_size=1,
        low=1,
        high=2,
        whole=True,
        takes_channel=False,
        default_start=_FIRST,
        seam="process",
    )

    def after(self, reading: Reading) -> None:
        """Now."""
        if self.reached(reading):
            end_process(hard=self.size == 2)


def end_process(*, hard: bool) -> None:
    """What an operating system does to a process; the hard way leaves no chance to do anything."""
    os.kill(os.getpid(), signal.SIGKILL if hard else signal.SIGTERM)


class _ClockFault(Fault):
    """The wall clock moves by itself, once."""

    def tick(self) -> None:
        """At the first faulty record."""
        if self.course.records == self.start - 1:
            self.moved()

    def moved(self) -> None:
        """What happens then."""
        if isinstance(self.clock, JumpClock):
            self.clock.step_wall(self.size or 0.0)


class HostAsleep(_ClockFault):
    """The computer sleeps."""

    entry = FaultEntry(
        id="I24",
        name="host-asleep",
        kind="io",
        does="the computer sleeps between two readings, while the bench drifts on",
        shows="a gap in wall-clock time that the monotonic clock does not have",
        size="gap, s",
        default_size=300.0,
        high=1.0e6,
        takes_channel=False,
        default_start=_FIRST,
        seam="process",
    )

    def moved(self) -> None:
        """The world goes on."""
        super().moved()
        self.course.asleep_s += self.size or 0.0


class ClockStepped(_ClockFault):
    """Somebody sets the wall clock."""

    entry = FaultEntry(
        id="I25",
        name="clock-stepped",
        kind="io",
        does="the wall clock is set between two readings",
        shows="order by wall clock is wrong, by monotonic time right",
        size="step, s",
        default_size=-3600.0,
        low=-1.0e6,
        high=1.0e6,
        takes_channel=False,
        default_start=_FIRST,
        seam="process",
    )


class PlantNetworkLost(Fault):
    """The plant's system is not reachable, for a while."""

    entry = FaultEntry(
        id="I26",
        name="plant-network-lost",
        kind="io",
        does="the store that records are forwarded to is not reachable (`--forward`, or `forward` of a job)",
        shows="the local record is complete, how much waits is said; `gainladder store forward` sends it later",
        size="for how long, s of the bench's time",
        default_size=90_000.0,
        high=1.0e9,
        takes_channel=False,
        default_start=_FIRST,
        seam="process",
    )

    _since_s: float | None = None

    def tick(self) -> None:
        """It begins with a record."""
        if self.begun and self._since_s is None and self.clock is not None:
            self._since_s = self.clock.now_s()

    def reaches_plant(self) -> bool:
        """Not until the time is over."""
        if self._since_s is None or self.clock is None:
            return True
        return self.clock.now_s() - self._since_s >= (self.size or 0.0)


class StoreLocked(_RecorderFault):
    """Another process holds the store."""

    entry = FaultEntry(
        id="I27",
        name="store-locked",
        kind="io",
        does=f"another process holds the store; above {BUSY_LIMIT_S:g} s nobody waits longer",
        shows="readings come late, or the store refuses and the run stops with the source off",
        size="held for, s",
        default_size=1.0e6,
        high=1.0e6,
        takes_channel=False,
        default_start=_FIRST,
        seam="process",
    )

    _locked = False

    def before(self, reading: Reading | None) -> None:
        """Wait, or give up; the journal meets the same lock."""
        first = self.reached(reading)
        held_s = self.size or 0.0
        if first and held_s <= BUSY_LIMIT_S and self.clock is not None:
            self.clock.sleep(held_s)
        if held_s > BUSY_LIMIT_S and (first or self._locked):
            self._locked = True
            raise StoreUnavailable(
                f"the store is locked by another process (injected), for more than {BUSY_LIMIT_S:g} s: "
                "end that process, then resume the run"
            )


class OperatorInterrupt(LinkFault):
    """Somebody presses Ctrl-C."""

    entry = FaultEntry(
        id="I28",
        name="operator-interrupt",
        kind="io",
        does="the operator interrupts: 1 between two settings, 2 while the source changes its level",
        shows="the run ends, source off, and can be resumed",
        size="1 between settings, 2 while the source ramps",
        default_size=1,
        low=1,
        high=2,
        whole=True,
        roles=("source",),
        default_start=_FIRST,
        seam="process",
    )

    def command(self, message: bytes, line: Line) -> bytes | None:
        """The message has left; it is carried out, and the answer is never read."""
        if self.size == 2 and message.strip().upper().startswith(b"VOLT") and b"?" not in message and self.struck():
            line.instrument.handle(message)
            raise KeyboardInterrupt
        return message

    def recorder(self, recorder: Recorder) -> Recorder:
        """Once a reading is durable."""
        return MeddledRecorder(recorder, before=lambda _: None, after=self._after) if self.size == 1 else recorder

    def _after(self, reading: Reading) -> None:
        if reading.index == self.start - 1:
            raise KeyboardInterrupt


FAULTS: Final[tuple[type[Fault], ...]] = (
    DiskFull,
    PowerCutBeforeAcknowledge,
    ProcessKilled,
    HostAsleep,
    ClockStepped,
    PlantNetworkLost,
    StoreLocked,
    OperatorInterrupt,
)
