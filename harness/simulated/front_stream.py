"""Messages ended by line feeds: over TCP (as an instrument's socket, or as a serial port), or over a pty."""

from __future__ import annotations

import os
import socket
import tty

from harness.simulated.front import LONGEST_BACKLOG, Desk, Listener, Port
from harness.simulated.instrument import LONGEST_MESSAGE

LOOPBACK = "127.0.0.1"
_PIECE = 65_536


class _Lines:
    """Cuts what arrives into messages and gathers answers."""

    def __init__(self, desk: Desk) -> None:
        self.backlog = bytearray()
        self._desk = desk
        self._unread = b""

    def feed(self, data: bytes) -> None:
        *lines, self._unread = (self._unread + data).split(b"\n")
        for line in lines:
            self._desk.take(line, self.backlog.extend, self)
        # One byte too many stays, so that the instrument sees and reports an overlong message.
        self._unread = self._unread[: LONGEST_MESSAGE + 1]


class SocketPort:
    """One client of a TCP front."""

    def __init__(self, connection: socket.socket, desk: Desk) -> None:
        connection.setblocking(False)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._connection = connection
        self._lines = _Lines(desk)
        self.backlog = self._lines.backlog

    def fileno(self) -> int:
        """For the selector."""
        return self._connection.fileno()

    def take(self) -> bool:
        """Read what is there; False when the peer has gone."""
        try:
            data = self._connection.recv(_PIECE)
        except BlockingIOError:
            return True
        except OSError:
            return False
        self._lines.feed(data)
        return bool(data) and len(self.backlog) <= LONGEST_BACKLOG

    def send(self) -> bool:
        """Write of the backlog what fits; False when the peer has gone."""
        return send_some(self._connection, self.backlog)

    def close(self) -> None:
        """Close; what it sent before is still carried out."""
        self._connection.close()


def send_some(connection: socket.socket, backlog: bytearray) -> bool:
    """Write of the backlog what fits; False when the peer has gone."""
    try:
        del backlog[: connection.send(backlog)]
    except BlockingIOError:
        return True
    except OSError:
        return False
    return True


class TcpListener:
    """A listening socket on a free loopback port."""

    def __init__(self) -> None:
        self._socket = socket.create_server((LOOPBACK, 0))
        self._socket.setblocking(False)
        self.port: int = self._socket.getsockname()[1]

    def fileno(self) -> int:
        """For the selector."""
        return self._socket.fileno()

    def accept_socket(self) -> socket.socket:
        """The next connection."""
        return self._socket.accept()[0]

    def close(self) -> None:
        """Stop listening."""
        self._socket.close()


class SocketFront(TcpListener):
    """A TCP port that several clients may use at once."""

    def __init__(self, desk: Desk, *, pattern: str) -> None:
        """Listen; `pattern` is the address with `{port}` in it."""
        super().__init__()
        self._desk = desk
        self.address = pattern.format(port=self.port)

    def ports(self) -> list[Port]:
        """None before somebody connects."""
        return []

    def listeners(self) -> list[Listener]:
        """This socket."""
        return [self]

    def accept(self) -> Port:
        """The next client."""
        return SocketPort(self.accept_socket(), self._desk)


class PtyFront:
    """A pseudo terminal; its path is opened like a serial port."""

    def __init__(self, desk: Desk) -> None:
        # The slave stays open here, else the master reports an error whenever no client holds it.
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self._lines = _Lines(desk)
        self.backlog = self._lines.backlog
        self.address = os.ttyname(self._slave)
        self._open = True

    def ports(self) -> list[Port]:
        """The one stream."""
        return [self]

    def listeners(self) -> list[Listener]:
        """None: a pty accepts nobody."""
        return []

    def fileno(self) -> int:
        """For the selector."""
        return self._master

    def take(self) -> bool:
        """Read what is there; a pty's other end never goes."""
        try:
            self._lines.feed(os.read(self._master, _PIECE))
        except (BlockingIOError, InterruptedError):
            return True
        return True

    def send(self) -> bool:
        """Write of the backlog what fits."""
        try:
            del self.backlog[: os.write(self._master, self.backlog[:_PIECE])]
        except BlockingIOError:
            # Nobody reads: the kernel's buffer is full, and what is old is of no use to the next client.
            del self.backlog[:-LONGEST_BACKLOG]
        return True

    def close(self) -> None:
        """Close both ends; idempotent."""
        if self._open:
            self._open = False
            os.close(self._master)
            os.close(self._slave)
