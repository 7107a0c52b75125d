"""A byte link in memory: what a socket would do, without one, on whatever clock the world has."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import Protocol

from harness.bench import Clock
from harness.errors import LinkClosed, LinkLost, OpenFailed, ReadTimeout, UsageError, WriteTimeout
from harness.simulated.faults.link_fault import Due, Line, LinkFault
from harness.simulated.instrument import Instrument


class LinkHook(Protocol):
    """Something that meddles with answers on their way."""

    def __call__(self, due: Due, link: MemoryLink) -> Due | None:
        """The answer as it arrives; None when it never does; LinkLost breaks the link."""
        ...


class _Misbehaviour:
    """Meddles with one answer, after letting some pass."""

    def __init__(self, kind: str, after: int) -> None:
        self._kind = kind
        self._left = after

    def __call__(self, due: Due, link: MemoryLink) -> Due | None:
        if self._left:
            self._left -= 1
            return due
        link.hooks.remove(self)
        at_s, answer = due
        if self._kind == "silent":
            return at_s + 1.5 * link.timeout_s, answer
        if self._kind == "truncated":
            return at_s, answer[: len(answer) // 2]
        link.broken = True
        return None


def carried_out(
    message: bytes, line: Line, faults: Sequence[LinkFault], *, arrived_s: float | None = None
) -> bytes:
    """What an instrument answers to a message that passes these faults; it arrived then, or just now."""
    line.question = message
    arrived: bytes | None = message
    for fault in faults:
        if arrived is not None:
            arrived = fault.command(arrived, line)
    return b"" if arrived is None else line.instrument.handle(arrived, arrived_s=arrived_s)


def answered(due: Due, line: Line, faults: Sequence[LinkFault]) -> Due | None:
    """An answer as it arrives past these faults; None when it never does."""
    passed: Due | None = due
    for fault in faults:
        if passed is not None:
            passed = fault.reply(passed, line)
    return passed


KINDS = ("silent", "closed", "truncated")


class MemoryLink:
    """One connection to one instrument; several may exist at once."""

    def __init__(
        self,
        instrument: Instrument,
        clock: Clock,
        *,
        address: str,
        timeout_s: float,
        role: str = "",
        faults: Sequence[LinkFault] = (),
    ) -> None:
        self.timeout_s = timeout_s
        self.hooks: list[LinkHook] = []
        self.line = Line(role=role, instrument=instrument, timeout_s=timeout_s)
        """The link as faults see it."""
        self.faults = list(faults)
        self._instrument = instrument
        self._clock = clock
        self._address = address
        self._closed = False
        self._unsent = b""
        self._coming: deque[Due] = deque()
        self._arrived = b""
        for fault in self.faults:
            fault.opened(self.line)

    @property
    def broken(self) -> bool:
        """The peer is gone; `reopen` finds it again."""
        return self.line.broken

    @broken.setter
    def broken(self, gone: bool) -> None:
        self.line.broken = gone

    @property
    def address(self) -> str:
        """Name of the link, for messages."""
        return self._address

    def misbehave(self, kind: str, after: int = 0) -> None:
        """Spoil one answer, after `after` good ones.

        `silent`: it comes half a deadline too late and is read by whoever reads next; `truncated`: its second half
        never comes; `closed`: the peer goes away instead of answering.
        """
        if kind not in KINDS:
            raise UsageError(f"misbehaviour of a link: got {kind!r}; allowed: {', '.join(KINDS)}")
        self.hooks.append(_Misbehaviour(kind, after))

    def write(self, message: bytes) -> None:
        """Send bytes; each line feed completes a message."""
        self._usable()
        *lines, self._unsent = (self._unsent + message).split(b"\n")
        for line in lines:
            self._blocked(line)
            answer = carried_out(line, self.line, self.faults)
            if answer:
                self._answered((self._instrument.free_at_s + self._instrument.latency_s, answer))

    def read_line(self) -> bytes:
        """Bytes up to and without the line feed."""
        deadline_s = self._clock.now_s() + self.timeout_s
        while b"\n" not in self._arrived:
            self._receive(deadline_s, "a line")
        line, _, self._arrived = self._arrived.partition(b"\n")
        return line

    def read_exactly(self, count: int) -> bytes:
        """Exactly `count` bytes."""
        deadline_s = self._clock.now_s() + self.timeout_s
        while len(self._arrived) < count:
            self._receive(deadline_s, f"{count} bytes")
        piece, self._arrived = self._arrived[:count], self._arrived[count:]
        return piece

    def clear(self) -> None:
        """Forget what is under way in both directions."""
        self._usable()
        self._forget()

    def reopen(self) -> None:
        """A new connection; also after `close`."""
        self._forget()
        if self.line.refuses:
            self.line.refuses -= 1
            self.broken = True
            raise OpenFailed("nobody listens there; check power and cable", address=self._address)
        self._closed = self.broken = False
        for fault in self.faults:
            fault.opened(self.line)

    def close(self) -> None:
        """Close; idempotent."""
        self._forget()
        self._closed = True

    def _blocked(self, line: bytes) -> None:
        """Wait until the peer takes a message, at most for the deadline."""
        wait_s = max((fault.writing(line, self.line) for fault in self.faults), default=0.0)
        if wait_s > 0.0:
            self._clock.sleep(min(wait_s, self.timeout_s))
        if wait_s >= self.timeout_s:
            raise WriteTimeout(
                f"nothing was taken within {self.timeout_s:g} s; the link is suspect: reopen it before use",
                address=self._address,
            )

    def _answered(self, due: Due) -> None:
        passed = answered(due, self.line, self.faults)
        for hook in tuple(self.hooks):
            if passed is not None:
                passed = hook(passed, self)
        if passed is not None:
            self._coming.append(passed)

    def _receive(self, deadline_s: float, wanted: str) -> None:
        self._usable()
        now_s = self._clock.now_s()
        due_s = self._coming[0][0] if self._coming else deadline_s + 1.0
        if due_s > deadline_s:
            self._clock.sleep(deadline_s - now_s)
            got = len(self._arrived)
            self._arrived = b""
            raise ReadTimeout(
                f"no answer within {self.timeout_s:g} s: wanted {wanted}, got {got} bytes; clear the link before use",
                address=self._address,
            )
        if due_s > now_s:
            self._clock.sleep(due_s - now_s)
        self._arrived += self._coming.popleft()[1]

    def _usable(self) -> None:
        if self._closed:
            raise LinkClosed("the link was closed by us; reopen it before use", address=self._address)
        if self.broken:
            raise LinkLost("the peer has closed the link; reopen it", address=self._address)

    def _forget(self) -> None:
        self._unsent = self._arrived = b""
        self._coming.clear()
