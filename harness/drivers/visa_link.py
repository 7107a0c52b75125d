"""A link over pyvisa: SOCKET and HiSLIP through the pure Python backend, any other resource string as it comes."""

from __future__ import annotations

import contextlib
import socket
import time
import traceback
from collections.abc import Iterator
from typing import TYPE_CHECKING

from harness.drivers.border import border
from harness.drivers.locks import ResourceLock
from harness.drivers.visa_carrier import Carrier, MessageCarrier, SocketCarrier, TerminatedCarrier, session_socket
from harness.drivers.visa_manager import backend_of, resource_manager
from harness.errors import BadReply, LinkClosed, LinkLost, OpenFailed, ReadTimeout

if TYPE_CHECKING:
    from pyvisa.resources import MessageBasedResource

LINE_BYTES = 65536
"""A record with the answers before it comes at once."""
CHUNK_BYTES = 1 << 20
CLEAR_S = 2.0
"""Longest time a clear may take; a longer one is no better than opening anew."""


class VisaLink:
    """One VISA resource, owned by one driver."""

    def __init__(self, address: str, *, timeout_s: float, lock: ResourceLock | None = None) -> None:
        """Open the resource.

        Args:
            address: VISA resource string.
            timeout_s: deadline of opening and of each write or read.
            lock: released when the link closes.
        Raises:
            OpenFailed: nobody listens, or the string is no resource.
            ResourceBusy: another program holds it.
        """
        self._address = address
        self.patience_s = timeout_s
        self._timeout_s = timeout_s
        self._lock = lock
        self._closed = False
        self._resource: MessageBasedResource | None = None
        self._carrier: Carrier
        self._buffer = bytearray()
        self._due = False  # an answer, or its end, is still to come (message carriers only)
        self._at_end = False  # the message ended behind the last byte read, without a line feed
        self._open()

    @property
    def address(self) -> str:
        """The resource string."""
        return self._address

    def write(self, message: bytes) -> None:
        """Send a whole message."""
        carrier = self._open_carrier()
        self._at_end = False
        self._due = True
        carrier.send(message, time.monotonic() + self.patience_s)

    def read_line(self) -> bytes:
        """Bytes up to the line feed, or to the end of the message where the link shows one."""
        carrier = self._open_carrier()
        until_s = time.monotonic() + self.patience_s
        with self._forgetting():
            while (end := self._buffer.find(b"\n")) < 0:
                if self._at_end:
                    self._at_end = False
                    return b""
                self._expect_answer(carrier)
                data, ended = carrier.receive(LINE_BYTES, line=True, until_s=until_s)
                self._buffer += data
                if ended:
                    self._due = False
                    if not self._buffer.endswith(b"\n"):
                        self._buffer += b"\n"
            line = bytes(self._buffer[:end])
            del self._buffer[: end + 1]
            return line

    def read_exactly(self, count: int) -> bytes:
        """Exactly `count` bytes; BadReply when the message ends before."""
        carrier = self._open_carrier()
        until_s = time.monotonic() + self.patience_s
        with self._forgetting():
            while (missing := count - len(self._buffer)) > 0:
                self._expect_answer(carrier)
                data, ended = carrier.receive(min(missing, CHUNK_BYTES), line=False, until_s=until_s)
                self._buffer += data
                if ended:
                    self._due = False
                    if len(self._buffer) < count:
                        got = f"the message ended after {len(self._buffer)} bytes"
                        raise BadReply(f"{got}; allowed: {count} bytes", address=self._address)
                    self._at_end = True
            data = bytes(self._buffer[:count])
            del self._buffer[:count]
            # A line feed that is the last byte of a block ends a message as well, and no other follows.
            self._at_end = self._at_end or (carrier.messages and not self._due and not self._buffer)
            return data

    def clear(self) -> None:
        """Throw away what is under way."""
        carrier = self._open_carrier()
        self._drop()
        carrier.clear(time.monotonic() + min(self.patience_s, CLEAR_S))

    def reopen(self) -> None:
        """Close and open again."""
        self._check_not_closed()
        self._close_resource()
        self._open()

    def close(self) -> None:
        """Close, and free the resource for others."""
        self._close_resource()
        self._closed = True
        if self._lock is not None:
            self._lock.release()

    def _open(self) -> None:
        from pyvisa.resources import MessageBasedResource

        self._drop()
        with border("open", address=self._address), _leftovers_closed():
            resource = resource_manager(backend_of(self._address)).open_resource(
                self._address, open_timeout=round(1000.0 * self._timeout_s)
            )
        if not isinstance(resource, MessageBasedResource):
            resource.close()
            raise OpenFailed(
                f"a {type(resource).__name__} takes no messages; allowed: SOCKET, INSTR or ASRL resources",
                address=self._address,
            )
        self._resource = resource
        try:
            with border("open", address=self._address):
                self._carrier = _carrier(resource, self._address)
        except BaseException:
            self._close_resource()
            raise

    def _open_carrier(self) -> Carrier:
        self._check_not_closed()
        if self._resource is None:
            raise LinkLost("the link is broken and could not be opened again; reopen it", address=self._address)
        return self._carrier

    def _check_not_closed(self) -> None:
        if self._closed:
            raise LinkClosed("the link is closed; open a new one", address=self._address)

    def _expect_answer(self, carrier: Carrier) -> None:
        if carrier.messages and not self._due:
            raise ReadTimeout("no answer is due: nothing was asked", address=self._address)

    @contextlib.contextmanager
    def _forgetting(self) -> Iterator[None]:
        """After a failed read whatever had arrived is gone."""
        try:
            yield
        except BaseException:
            self._drop()
            raise

    def _drop(self) -> None:
        self._buffer.clear()
        self._due = False
        self._at_end = False

    def _close_resource(self) -> None:
        resource, self._resource = self._resource, None
        if resource is not None:
            with contextlib.suppress(Exception):  # a dead session may raise anything; it is closed all the same
                resource.close()


@contextlib.contextmanager
def _leftovers_closed() -> Iterator[None]:
    """When opening fails the library forgets to close its sockets; only the traceback still knows them."""
    try:
        yield
    except Exception as error:
        link: BaseException | None = error
        while link is not None:
            for frame, _ in traceback.walk_tb(link.__traceback__):
                session = frame.f_locals.get("self")
                for name in ("interface", "_sync", "_async"):
                    if isinstance(candidate := getattr(session, name, None), socket.socket):
                        candidate.close()
            link = link.__cause__ or link.__context__
        raise


def _carrier(resource: MessageBasedResource, address: str) -> Carrier:
    connection = session_socket(resource)
    if connection is not None:
        # The library takes a refused connection for an open one; the socket knows.
        refused = connection.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
        if refused:
            raise OSError(refused, "connection not made")
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    upper = address.upper()
    if upper.endswith("::SOCKET"):
        return SocketCarrier(resource, connection, address) if connection else TerminatedCarrier(resource, address)
    return TerminatedCarrier(resource, address) if upper.startswith("ASRL") else MessageCarrier(resource, address)
