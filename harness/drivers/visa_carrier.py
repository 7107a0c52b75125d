"""How bytes travel over an open VISA resource: by a socket, by whole messages, or up to a termination character."""

from __future__ import annotations

import select
import socket
import time
from typing import TYPE_CHECKING, Protocol

from harness.drivers.border import border
from harness.errors import LinkLost, ReadTimeout, WriteTimeout

if TYPE_CHECKING:
    from pyvisa.resources import MessageBasedResource

PIECE_BYTES = 1024
"""Written at once after the socket said it takes more; small enough for the smallest send buffer."""
PEEK_BYTES = 65536
QUIET_S = 0.05
"""A socket silent for so long is taken for cleared."""


class Carrier(Protocol):
    """One way to move bytes; times are absolute, on the monotonic clock."""

    messages: bool
    """Whether the end of a message is seen as such."""

    def send(self, message: bytes, until_s: float) -> None:
        """Send all of it."""
        ...

    def receive(self, wanted: int, *, line: bool, until_s: float) -> tuple[bytes, bool]:
        """At most `wanted` bytes, at least one unless the message ends; and whether it has ended.

        With `line` the bytes of one line are wanted; more may come.
        """
        ...

    def clear(self, until_s: float) -> None:
        """Throw away what is under way."""
        ...


def session_of(resource: MessageBasedResource) -> object:
    """The session object of the pure Python backend; None where there is none to be found."""
    sessions = getattr(resource.visalib, "sessions", None)
    return sessions.get(resource.session) if isinstance(sessions, dict) else None


def session_socket(resource: MessageBasedResource) -> socket.socket | None:
    """The socket under a session of the pure Python backend; None where there is none to be found."""
    interface = getattr(session_of(resource), "interface", None)
    for candidate in (interface, getattr(interface, "_sync", None)):
        if isinstance(candidate, socket.socket):
            return candidate
    return None


class SocketCarrier:
    """A SOCKET resource of the pure Python backend.

    The library waits for ever in a write to a deaf peer, and spins until its time-out when the peer has closed. So the
    socket is asked first: whether it takes bytes, how many have come, or whether it has ended. Exactly what has come is
    read, with the termination character off: a line feed inside a block is a byte like any other.
    """

    messages = False

    def __init__(self, resource: MessageBasedResource, connection: socket.socket, address: str) -> None:
        self._resource = resource
        self._connection = connection
        self._address = address
        self._poll = select.poll()
        # Two messages without an answer between them (a setting, then a query) would wait for the peer's delayed
        # acknowledgement: 44 ms each, measured on loopback, against 1 ms.
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        # Asked for more than this, the library may keep bytes to itself that the socket then no longer shows.
        session = session_of(resource)
        if hasattr(session, "max_recv_size"):
            setattr(session, "max_recv_size", PEEK_BYTES)  # noqa: B010 - the session's class is the library's own affair
        self._most_bytes = PEEK_BYTES if hasattr(session, "max_recv_size") else 4096

    def send(self, message: bytes, until_s: float) -> None:
        """Send in pieces, each after the socket said it takes one."""
        for start in range(0, len(message), PIECE_BYTES):
            piece = message[start : start + PIECE_BYTES]
            if not self._ready(select.POLLOUT, until_s):
                raise WriteTimeout(
                    f"the peer takes no more bytes; {start} of {len(message)} were sent", address=self._address
                )
            with border("write", address=self._address):
                self._resource.visalib.write(self._resource.session, piece)

    def receive(self, wanted: int, *, line: bool, until_s: float) -> tuple[bytes, bool]:
        """What has come."""
        if not self._ready(select.POLLIN, until_s):
            raise ReadTimeout("no complete answer in time; it may still come", address=self._address)
        count = self._waiting()
        return self._take(count if line else min(count, wanted)), False

    def clear(self, until_s: float) -> None:
        """Read until the peer is silent; the library's own clear spins for ever on a closed connection.

        The session keeps no bytes to itself, because never more is read than has come.
        """
        _drain(self._connection, until_s, self._address)

    def _ready(self, event: int, until_s: float) -> bool:
        self._poll.register(self._connection, event)
        left_s = max(0.0, until_s - time.monotonic())
        return bool(self._poll.poll(1000.0 * left_s))

    def _waiting(self) -> int:
        with border("read", address=self._address):
            waiting = len(self._connection.recv(self._most_bytes, socket.MSG_PEEK))
        if not waiting:
            raise LinkLost("the peer closed the connection", address=self._address)
        return waiting

    def _take(self, count: int) -> bytes:
        from pyvisa.constants import StatusCode

        resource = self._resource
        with border("read", address=self._address), resource.ignore_warning(StatusCode.success_max_count_read):
            return bytes(resource.visalib.read(resource.session, count)[0])


def _drain(connection: socket.socket, until_s: float, address: str) -> None:
    """Throw away what a connection brings until it is silent."""
    poll = select.poll()
    poll.register(connection, select.POLLIN)
    # Silence is proven by a whole QUIET_S, also at the end: a shorter look would take a pause of the peer for it.
    while poll.poll(1000.0 * QUIET_S):
        with border("clear", address=address):
            if not connection.recv(PEEK_BYTES):
                raise LinkLost("the peer closed the connection", address=address)
        if time.monotonic() >= until_s:
            raise ReadTimeout("the peer goes on talking; switch it off and on", address=address)


class MessageCarrier:
    """A resource whose messages have an end of their own: HiSLIP, VXI-11, USB, GPIB."""

    messages = True

    def __init__(self, resource: MessageBasedResource, address: str) -> None:
        self._resource = resource
        self._address = address
        self._connection = session_socket(resource)
        self._timeout_ms = 0

    def send(self, message: bytes, until_s: float) -> None:
        """Send with the library's own deadline."""
        with border("write", address=self._address):
            self._limit(until_s)
            self._resource.visalib.write(self._resource.session, message)

    def receive(self, wanted: int, *, line: bool, until_s: float) -> tuple[bytes, bool]:
        """The next part of the message."""
        from pyvisa.constants import StatusCode

        resource = self._resource
        more = StatusCode.success_max_count_read
        with border("read", address=self._address), resource.ignore_warning(more):
            self._limit(until_s)
            data, status = resource.visalib.read(resource.session, wanted)
        return bytes(data), self.messages and status != more

    def clear(self, until_s: float) -> None:
        """The interface's own clear; the HiSLIP one of the library stumbles over answers that have already come."""
        if self._connection is not None:
            _drain(self._connection, until_s, self._address)
        with border("clear", address=self._address):
            self._limit(until_s)
            self._resource.clear()

    def _limit(self, until_s: float) -> None:
        """Give the library what is left of the deadline; not for the odd per cent, each change costs time."""
        left_ms = max(1, round(1000.0 * (until_s - time.monotonic())))
        if not 0.95 * self._timeout_ms <= left_ms <= self._timeout_ms:
            self._resource.timeout = left_ms
            self._timeout_ms = left_ms


class TerminatedCarrier(MessageCarrier):
    """A stream that only the library can read: serial ports through VISA."""

    messages = False

    def receive(self, wanted: int, *, line: bool, until_s: float) -> tuple[bytes, bool]:
        """A line up to its line feed, or the bytes wanted."""
        with border("read", address=self._address):
            self._stop_at_line_feed(line)
        return super().receive(wanted, line=line, until_s=until_s)

    def _stop_at_line_feed(self, on: bool) -> None:
        from pyvisa.constants import ResourceAttribute, SerialTermination

        resource = self._resource
        resource.set_visa_attribute(ResourceAttribute.termchar, ord("\n"))
        resource.set_visa_attribute(ResourceAttribute.termchar_enabled, on)
        if self._address.upper().startswith("ASRL"):
            end = SerialTermination.termination_char if on else SerialTermination.none
            resource.set_visa_attribute(ResourceAttribute.asrl_end_in, end)
