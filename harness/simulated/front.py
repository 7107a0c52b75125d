"""What the ways onto the wire have in common: connections, and messages that wait for their instrument."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from harness.bench import Clock
from harness.simulated.faults.link_fault import Line, LinkFault
from harness.simulated.instrument import Instrument
from harness.simulated.link import answered, carried_out

LONGEST_BACKLOG = 16 * 1024 * 1024
"""Bytes kept for a client that does not read; then it is dropped."""


@dataclass(slots=True, kw_only=True, eq=False)
class Message:
    """A message that has arrived, and the way back."""

    line: bytes
    arrived_s: float
    answer: Callable[[bytes], None]
    owner: object
    """The session that sent it; a device clear forgets its messages."""


@dataclass(slots=True, eq=False)
class Desk:
    """One instrument and the messages that wait for it, from all its connections, in order of arrival."""

    instrument: Instrument
    line: Line
    """The link as faults see it."""
    clock: Clock
    faults: Sequence[LinkFault] = ()
    waiting: deque[Message] = field(default_factory=deque)
    leaving: deque[tuple[float, Message, bytes]] = field(default_factory=deque)
    """Answers and when they are due, s."""

    def take(self, line: bytes, answer: Callable[[bytes], None], owner: object) -> None:
        """A message has arrived."""
        self.waiting.append(Message(line=line, arrived_s=self.clock.now_s(), answer=answer, owner=owner))

    def work(self, now_s: float) -> float | None:
        """Do what can be done by now; when to come back, None when nothing waits."""
        while True:
            while self.leaving and self.leaving[0][0] <= now_s:
                _, message, answer = self.leaving.popleft()
                message.answer(answer)
            if not self.waiting or self.instrument.free_at_s > now_s:
                break
            message = self.waiting.popleft()
            answer = carried_out(message.line, self.line, self.faults, arrived_s=message.arrived_s)
            due_s = self.instrument.free_at_s + self.instrument.latency_s
            arrives = answered((due_s, answer), self.line, self.faults) if answer else None
            if arrives is not None:
                self.leaving.append((arrives[0], message, arrives[1]))
        moments = [self.leaving[0][0]] if self.leaving else []
        if self.waiting:
            moments.append(self.instrument.free_at_s)
        return min(moments, default=None)

    def forget(self, owner: object) -> None:
        """Drop the messages and answers of one session."""
        self.waiting = deque(message for message in self.waiting if message.owner is not owner)
        self.leaving = deque(entry for entry in self.leaving if entry[1].owner is not owner)


class Port(Protocol):
    """A byte stream that the server reads and writes without blocking."""

    backlog: bytearray
    """Bytes that wait to be sent."""

    def fileno(self) -> int:
        """For the selector."""
        ...

    def take(self) -> bool:
        """Read what is there; False when the peer has gone."""
        ...

    def send(self) -> bool:
        """Write of the backlog what fits; False when the peer has gone."""
        ...

    def close(self) -> None:
        """Close; idempotent."""
        ...


class Front(Protocol):
    """A way onto the wire for one instrument."""

    @property
    def address(self) -> str:
        """What a client opens."""
        ...

    def ports(self) -> list[Port]:
        """Streams open from the start."""
        ...

    def listeners(self) -> list[Listener]:
        """Sockets that accept."""
        ...

    def close(self) -> None:
        """Stop accepting; idempotent."""
        ...


class Listener(Protocol):
    """A socket that accepts connections."""

    def fileno(self) -> int:
        """For the selector."""
        ...

    def accept(self) -> Port:
        """The next connection; OSError when it has gone again."""
        ...
