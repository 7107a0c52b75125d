"""HiSLIP (IVI-6.1), as much of it as a synchronous client needs: two connections a session, messages with ids."""

from __future__ import annotations

import socket
import struct
from collections.abc import Callable

from harness.simulated.front import LONGEST_BACKLOG, Desk, Listener, Port
from harness.simulated.front_stream import TcpListener, send_some
from harness.simulated.instrument import LONGEST_MESSAGE

_HEADER = struct.Struct("!2sBBIQ")
_VERSION = 0x0100
_VENDOR = int.from_bytes(b"GL", "big")
_MOST_BYTES = 1 << 20
(INITIALIZE, INITIALIZE_RESPONSE, FATAL_ERROR, ERROR, LOCK, LOCK_RESPONSE, DATA, DATA_END, CLEAR_COMPLETE,
 CLEAR_ACKNOWLEDGE, REMOTE_LOCAL, REMOTE_LOCAL_RESPONSE, TRIGGER) = range(13)  # fmt: skip
(MAX_SIZE, MAX_SIZE_RESPONSE, ASYNC_INITIALIZE, ASYNC_INITIALIZE_RESPONSE, ASYNC_CLEAR) = range(15, 20)
(STATUS, STATUS_RESPONSE, ASYNC_CLEAR_ACKNOWLEDGE, LOCK_INFO, LOCK_INFO_RESPONSE) = range(21, 26)


class Session:
    """What the two connections of one client share."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.sync: HislipPort | None = None
        self.other: HislipPort | None = None
        self.unread = b""
        self.offered = False
        """An answer was sent, and the client has not confirmed that it read it."""
        self.most_bytes = _MOST_BYTES


class HislipPort:
    """One of the two connections of a session; which one, the first message tells."""

    def __init__(self, connection: socket.socket, front: HislipFront) -> None:
        connection.setblocking(False)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.backlog = bytearray()
        self.session: Session | None = None
        self._connection = connection
        self._front = front
        self._received = bytearray()
        self._doomed = False

    def fileno(self) -> int:
        """For the selector."""
        return self._connection.fileno()

    def take(self) -> bool:
        """Read what is there; False when the peer has gone or has broken the protocol."""
        try:
            data = self._connection.recv(65_536)
        except BlockingIOError:
            return True
        except OSError:
            return False
        self._received += data
        while not self._doomed and (frame := self._frame()) is not None:
            self._front.handle(self, *frame)
        if self._doomed:
            self.send()
        return bool(data) and not self._doomed and len(self.backlog) <= LONGEST_BACKLOG

    def send(self) -> bool:
        """Write of the backlog what fits; False when the peer has gone."""
        return send_some(self._connection, self.backlog)

    def close(self) -> None:
        """Close; the session ends with either of its connections."""
        self._connection.close()
        if self.session is not None:
            self._front.forget(self.session)

    def put(self, kind: int, control: int = 0, parameter: int = 0, payload: bytes = b"") -> None:
        """Queue a message of the protocol."""
        self.backlog += _HEADER.pack(b"HS", kind, control, parameter, len(payload)) + payload

    def doom(self, code: int, text: str) -> None:
        """Say why, then hang up."""
        self.put(FATAL_ERROR, code, 0, text.encode())
        self._doomed = True

    def _frame(self) -> tuple[int, int, int, bytes] | None:
        if len(self._received) < _HEADER.size:
            return None
        prologue, kind, control, parameter, length = _HEADER.unpack_from(self._received)
        if prologue != b"HS" or length > _MOST_BYTES:
            self.doom(1, "poorly formed message header")
            return None
        if len(self._received) < _HEADER.size + length:
            return None
        payload = bytes(self._received[_HEADER.size : _HEADER.size + length])
        del self._received[: _HEADER.size + length]
        return kind, control, parameter, payload


class HislipFront(TcpListener):
    """A HiSLIP port that several clients may use at once."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.address = f"TCPIP::127.0.0.1::hislip0,{self.port}::INSTR"
        self._desk = desk
        self._sessions: dict[int, Session] = {}
        self._last = 0
        self._known: dict[int, Callable[[HislipPort, Session, int, bytes], None]] = {
            DATA: self._data,
            DATA_END: self._data_end,
            CLEAR_COMPLETE: lambda port, *_: port.put(CLEAR_ACKNOWLEDGE),
            LOCK: lambda port, *_: port.put(LOCK_RESPONSE, 1),
            LOCK_INFO: lambda port, *_: port.put(LOCK_INFO_RESPONSE),
            REMOTE_LOCAL: lambda port, *_: port.put(REMOTE_LOCAL_RESPONSE),
            TRIGGER: lambda *_: None,
            MAX_SIZE: self._max_size,
            STATUS: self._status,
            ASYNC_CLEAR: self._clear,
        }

    def ports(self) -> list[Port]:
        """None before somebody connects."""
        return []

    def listeners(self) -> list[Listener]:
        """This socket."""
        return [self]

    def accept(self) -> Port:
        """The next connection."""
        return HislipPort(self.accept_socket(), self)

    def handle(self, port: HislipPort, kind: int, control: int, parameter: int, payload: bytes) -> None:
        """One message of the protocol; bit 0 of the control code confirms that the last answer was read."""
        if port.session is not None and kind in (DATA, DATA_END, TRIGGER, STATUS) and control & 1:
            port.session.offered = False
        if port.session is None:
            self._begin(port, kind, parameter)
        elif port.session.sync is None or port.session.other is None:
            port.doom(2, "connection used before both channels are established")
        elif kind in self._known:
            self._known[kind](port, port.session, parameter, payload)
        else:
            port.put(ERROR, 1, 0, b"unrecognized message type")

    def forget(self, session: Session) -> None:
        """A session is over; what it sent before is still carried out."""
        self._sessions.pop(session.number, None)

    def _begin(self, port: HislipPort, kind: int, parameter: int) -> None:
        if kind == INITIALIZE:
            self._last = self._last % 0xFFFF + 1
            port.session = self._sessions[self._last] = Session(self._last)
            port.session.sync = port
            port.put(INITIALIZE_RESPONSE, 0, _VERSION << 16 | self._last)
        elif kind == ASYNC_INITIALIZE and parameter in self._sessions:
            port.session = self._sessions[parameter]
            port.session.other = port
            port.put(ASYNC_INITIALIZE_RESPONSE, 0, _VENDOR)
        else:
            port.doom(3, "invalid initialization sequence")

    def _data(self, port: HislipPort, session: Session, parameter: int, payload: bytes) -> None:
        del port, parameter
        session.unread = (session.unread + payload)[: LONGEST_MESSAGE + 1]

    def _data_end(self, port: HislipPort, session: Session, parameter: int, payload: bytes) -> None:
        self._data(port, session, parameter, payload)
        line, session.unread = session.unread, b""

        def answer(reply: bytes) -> None:
            session.offered = True
            most = max(1, session.most_bytes - _HEADER.size)
            for start in range(0, len(reply), most):
                last = start + most >= len(reply)
                port.put(DATA_END if last else DATA, 0, parameter, reply[start : start + most])

        for message in line.rstrip(b"\r\n").split(b"\n"):  # a line feed ends a message wherever it stands
            self._desk.take(message.rstrip(b"\r"), answer, session)

    def _max_size(self, port: HislipPort, session: Session, parameter: int, payload: bytes) -> None:
        del parameter
        if len(payload) == 8:
            session.most_bytes = min(_MOST_BYTES, int.from_bytes(payload, "big"))
        port.put(MAX_SIZE_RESPONSE, 0, 0, _MOST_BYTES.to_bytes(8, "big"))

    def _status(self, port: HislipPort, session: Session, parameter: int, payload: bytes) -> None:
        del parameter, payload
        port.put(STATUS_RESPONSE, self._desk.instrument.status_byte(message_available=session.offered))

    def _clear(self, port: HislipPort, session: Session, parameter: int, payload: bytes) -> None:
        del parameter, payload
        session.unread, session.offered = b"", False
        self._desk.forget(session)
        port.put(ASYNC_CLEAR_ACKNOWLEDGE)
