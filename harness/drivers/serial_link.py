"""A link over pyserial: a port, or a URL such as socket://host:port."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING

from harness.drivers.border import border
from harness.drivers.locks import ResourceLock
from harness.errors import LinkClosed, LinkLost, ReadTimeout

if TYPE_CHECKING:
    from serial import Serial

CLEAR_S = 2.0
QUIET_S = 0.05
"""A port silent for so long is taken for cleared."""


class SerialLink:
    """One serial port, owned by one driver."""

    def __init__(self, address: str, *, baud: int, timeout_s: float, lock: ResourceLock | None = None) -> None:
        """Open the port.

        Args:
            address: port or URL.
            baud: bits a second.
            timeout_s: deadline of each write or read.
            lock: released when the link closes.
        Raises:
            OpenFailed: no such port, or nobody listens at the URL.
            ResourceBusy: another program holds the port.
        """
        self._address = address
        self._baud = baud
        self.patience_s = timeout_s
        self._timeout_s = timeout_s
        self._lock = lock
        self._closed = False
        self._port: Serial | None = None
        self._buffer = bytearray()
        self._open()

    @property
    def address(self) -> str:
        """The port or URL."""
        return self._address

    def write(self, message: bytes) -> None:
        """Send a whole message within the write deadline; nothing is flushed, for that may wait for ever."""
        port = self._open_port()
        with border("write", address=self._address):
            port.write_timeout = self.patience_s
            port.write(message)

    def read_line(self) -> bytes:
        """Bytes up to the line feed."""
        until_s = time.monotonic() + self.patience_s
        with self._forgetting():
            while (end := self._buffer.find(b"\n")) < 0:
                # One byte, then whatever has come with it: a byte a call is forty times slower.
                self._buffer += self._read(1, until_s)
                self._buffer += self._read(self._waiting(), until_s)
            line = bytes(self._buffer[:end])
            del self._buffer[: end + 1]
            return line

    def read_exactly(self, count: int) -> bytes:
        """Exactly `count` bytes."""
        until_s = time.monotonic() + self.patience_s
        with self._forgetting():
            while (missing := count - len(self._buffer)) > 0:
                self._buffer += self._read(missing, until_s)
            data = bytes(self._buffer[:count])
            del self._buffer[:count]
            return data

    def clear(self) -> None:
        """Read until the port is silent."""
        port = self._open_port()
        self._buffer.clear()
        until_s = time.monotonic() + min(self.patience_s, CLEAR_S)
        while True:
            with border("clear", address=self._address):
                port.timeout = QUIET_S
                if not port.read(max(1, port.in_waiting)):
                    return
            if time.monotonic() >= until_s:
                raise ReadTimeout("the peer goes on talking; switch it off and on", address=self._address)

    def reopen(self) -> None:
        """Close and open again."""
        self._check_not_closed()
        self._close_port()
        self._open()

    def close(self) -> None:
        """Close, and free the port for others."""
        self._close_port()
        self._closed = True
        if self._lock is not None:
            self._lock.release()

    def _open(self) -> None:
        import serial

        self._buffer.clear()
        with border("open", address=self._address):
            # Built unopened: opening with the modem lines unset pulses them, which resets some boards.
            port = serial.serial_for_url(self._address, do_not_open=True, baudrate=self._baud, exclusive=True)
            port.dtr = False
            port.rts = False
            port.timeout = self._timeout_s
            port.write_timeout = self._timeout_s
            port.open()
        self._port = port

    def _open_port(self) -> Serial:
        self._check_not_closed()
        if self._port is None:
            raise LinkLost("the link is broken and could not be opened again; reopen it", address=self._address)
        return self._port

    def _check_not_closed(self) -> None:
        if self._closed:
            raise LinkClosed("the link is closed; open a new one", address=self._address)

    def _waiting(self) -> int:
        with border("read", address=self._address):
            return int(self._open_port().in_waiting)

    def _read(self, count: int, until_s: float) -> bytes:
        if not count:
            return b""
        port = self._open_port()
        left_s = max(0.0, until_s - time.monotonic())
        with border("read", address=self._address):
            if not 0.95 * (port.timeout or 0.0) <= left_s <= (port.timeout or 0.0):
                port.timeout = left_s
            data = bytes(port.read(count))
        if not data and time.monotonic() >= until_s:
            raise ReadTimeout("no complete answer in time; it may still come", address=self._address)
        return data

    @contextlib.contextmanager
    def _forgetting(self) -> Iterator[None]:
        """After a failed read whatever had arrived is gone."""
        self._open_port()
        try:
            yield
        except BaseException:
            self._buffer.clear()
            raise

    def _close_port(self) -> None:
        port, self._port = self._port, None
        if port is not None:
            with contextlib.suppress(Exception):  # an unplugged port may raise anything; it is closed all the same
                port.close()
