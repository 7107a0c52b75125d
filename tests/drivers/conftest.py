"""Stand-ins for the driver tests: a link in memory, three scripted instruments, tiny servers on loopback."""

from __future__ import annotations

import contextlib
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from harness.bench import Interlock
from harness.config import DeviceFile, InstrumentFile, InstrumentSlot, parse
from harness.config.bench_file import Wiring
from harness.drivers import AdapterDriver, DeviceDriver, SourceDriver
from harness.errors import LinkClosed, ReadTimeout

ROOT = Path(__file__).resolve().parents[2]
IDENTITIES = {
    "source": "Machair,SG-1,MA000123,1.0",
    "device": "Skerry,HR-4,SK000456,1.0",
    "adapter": "Strath,BA-1,BA000789,1.0",
    "meter": "Cairn,AM-2,CA000012,1.0",
}
PROFILES = {"source": "machair-sg-1", "device": "skerry-hr-4", "adapter": "strath-ba-1", "meter": "cairn-am-2"}


class ScriptedLink:
    """A link in memory over a function from message to answer; keeps what was sent; fails on request."""

    def __init__(self, handle: Callable[[str], bytes]) -> None:
        self.handle = handle
        self.address = "memory::1"
        self.patience_s = 1.0
        self.sent: list[str] = []
        self.written: list[str] = []
        """Transmissions, of one message or several."""
        self.calls: list[str] = []
        self.pending = bytearray()
        self.failures: list[tuple[str, Exception]] = []
        """(name of a call, error): the next such call raises it, once."""
        self.closed = False

    def _enter(self, call: str) -> None:
        self.calls.append(call)
        if self.closed:
            raise LinkClosed("closed", address=self.address)
        for index, (name, error) in enumerate(self.failures):
            if name == call:
                del self.failures[index]
                raise error

    def write(self, message: bytes) -> None:
        self._enter("write")
        text = message.decode()
        assert text.endswith("\n")
        self.written.append(text)
        for line in text.splitlines():
            self.sent.append(line)
            self.pending += self.handle(line)

    def read_line(self) -> bytes:
        self._enter("read_line")
        line, found, rest = bytes(self.pending).partition(b"\n")
        if not found:
            self.pending.clear()
            raise ReadTimeout("nothing", address=self.address)
        self.pending[:] = rest
        return line

    def read_exactly(self, count: int) -> bytes:
        self._enter("read_exactly")
        if len(self.pending) < count:
            self.pending.clear()
            raise ReadTimeout("too little", address=self.address)
        data = bytes(self.pending[:count])
        del self.pending[:count]
        return data

    def clear(self) -> None:
        self._enter("clear")
        self.pending.clear()

    def reopen(self) -> None:
        self._enter("reopen")
        self.pending.clear()

    def close(self) -> None:
        self.closed = True


class ScriptedInstrument:
    """Common commands and the error queue; overrides: exact message to answer bytes, taken before anything else."""

    def __init__(self, role: str) -> None:
        self.identity = IDENTITIES[role]
        self.errors: list[str] = []
        self.overrides: dict[str, bytes] = {}

    def __call__(self, message: str) -> bytes:
        if message in self.overrides:
            return self.overrides[message]
        if ";" in message:
            return b";".join(self(part.lstrip(":")).rstrip(b"\n") for part in message.split(";")) + b"\n"
        if message == "*IDN?":
            return self.identity.encode() + b"\n"
        if message == "*OPC?":
            return b"1\n"
        if message == "SYST:ERR?":
            return (self.errors.pop(0) if self.errors else '0,"No error"').encode() + b"\n"
        return self.answer(message)

    def answer(self, message: str) -> bytes:
        raise NotImplementedError


class ScriptedSource(ScriptedInstrument):
    def __init__(self) -> None:
        super().__init__("source")
        self.values = {"FREQ": "1000", "VOLT": "0.1", "OUTP:LOAD": "50", "OUTP": "1", "VOLT:OFFS": "0"}

    def answer(self, message: str) -> bytes:
        head, _, value = message.partition(" ")
        if head.endswith("?"):
            return self.values[head[:-1]].encode() + b"\n"
        if head in self.values:
            words = {"ON": "1", "OFF": "0", "INF": "9.9E+37"}
            self.values[head] = words.get(value, value)
        return b""


class ScriptedDevice(ScriptedInstrument):
    def __init__(self) -> None:
        super().__init__("device")
        self.values: dict[str, str] = {"ACQ:MODE": "SAMP", "ACQ:SRAT": "500000"}
        self.sequence = 7
        self.samples = 4000
        self.stale = False

    def answer(self, message: str) -> bytes:
        head, _, value = message.partition(" ")
        if head == "INIT":
            self.sequence += 0 if self.stale else 1
        if head == "FETC:SEQ?":
            return f"{self.sequence}\n".encode()
        if head == "FETC:SCAL?":
            return b"4.8828E-03\n"
        if head == "FETC:CODE?":
            payload = struct.pack(f"<{self.samples}h", *([0x060A, -2048, 2047, 1] * self.samples)[: self.samples])
            return f"#{len(str(len(payload)))}{len(payload)}".encode() + payload + b"\n"
        if head.endswith("?"):
            return self.values[head[:-1]].encode() + b"\n"
        self.values[head] = value
        return b""


class ScriptedAdapter(ScriptedInstrument):
    def __init__(self) -> None:
        super().__init__("adapter")
        self.events: list[tuple[int, int]] = [(100, 0b01), (200, 0b11), (200, 0b10)]
        self.dropped = 0

    def answer(self, message: str) -> bytes:
        if message == "FETCH?":
            payload = struct.pack("<4sIII", b"GLC1", self.dropped, 5, len(self.events))
            payload += b"".join(struct.pack("<Q", (time_ns << 8) | levels) for time_ns, levels in self.events)
            return f"#{len(str(len(payload)))}{len(payload)}".encode() + payload + b"\n"
        return b"OK\n"


class PushedClock:
    """Time that passes only when somebody sleeps."""

    def __init__(self) -> None:
        self.slept_s: list[float] = []

    def now_s(self) -> float:
        return sum(self.slept_s)

    def utc(self) -> str:
        return "2026-01-01T00:00:00.000000+00:00"

    def sleep(self, seconds: float) -> None:
        self.slept_s.append(seconds)


def profile_text(role: str) -> str:
    return (ROOT / "configs/instruments" / f"{PROFILES[role]}.toml").read_text()


@pytest.fixture
def profile() -> Callable[[str], InstrumentFile]:
    """Shipped profiles, one question a message, so that each answer can be scripted and spoiled by itself."""
    alone = {"together": False, "record_together": False, "grouped": False}
    return lambda role: parse(InstrumentFile, profile_text(role), file=role).model_copy(update=alone)


@pytest.fixture
def device_file() -> DeviceFile:
    return parse(DeviceFile, (ROOT / "configs/devices/skerry-hr-4.toml").read_text(), file="device")


@pytest.fixture
def slot() -> Callable[..., InstrumentSlot]:
    return lambda **keys: InstrumentSlot(profile="x.toml", **keys)


@pytest.fixture
def scripted_link() -> type[ScriptedLink]:
    return ScriptedLink


@pytest.fixture
def pushed_clock() -> PushedClock:
    return PushedClock()


@pytest.fixture
def source_rig(profile, slot, pushed_clock):
    """Builds (driver, instrument, link) of a source told a load, with the device's limits."""

    def build(
        told_ohm="high-z", limit_vpk=30.0, max_level_vpk=10.0, serial="MA000123", link=None, file=None, **slot_keys
    ):
        instrument = ScriptedSource()
        chosen = link or ScriptedLink(instrument)
        interlock = Interlock({1.0e6: limit_vpk, 50.0: 5.0}, impedance_ohm=1.0e6)
        wiring = Wiring(load_ohm=250.0e3, told_ohm=told_ohm)
        driver = SourceDriver(
            chosen, file or profile("source"), slot(serial=serial, **slot_keys), wiring, interlock, pushed_clock,
            max_level_vpk,
        )  # fmt: skip
        driver.interlock = interlock
        return driver, instrument, chosen

    return build


@pytest.fixture
def device_rig(profile, slot, pushed_clock, device_file):
    instrument = ScriptedDevice()
    link = ScriptedLink(instrument)
    return DeviceDriver(link, profile("device"), slot(serial="SK000456"), device_file, pushed_clock), instrument, link


@pytest.fixture
def adapter_rig(profile, slot, pushed_clock, device_file):
    instrument = ScriptedAdapter()
    link = ScriptedLink(instrument)
    return AdapterDriver(link, profile("adapter"), slot(), device_file.bus, pushed_clock), instrument, link


class TinyServer:
    """Serves each connection on loopback by a function, in threads that end with the test."""

    def __init__(self, serve: Callable[[socket.socket], None]) -> None:
        self.serve = serve
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        self.connections: list[socket.socket] = []
        self.threads = [threading.Thread(target=self._accept)]
        self.threads[0].start()

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self.listener.accept()
            except OSError:
                return
            self.connections.append(connection)
            self.threads.append(threading.Thread(target=self._run, args=(connection,)))
            self.threads[-1].start()

    def _run(self, connection: socket.socket) -> None:
        with connection, contextlib.suppress(OSError):
            self.serve(connection)

    def stop_listening(self) -> None:
        with contextlib.suppress(OSError):
            self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()

    def close(self) -> None:
        self.stop_listening()
        for connection in self.connections:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        for thread in self.threads:
            thread.join(5.0)


@pytest.fixture
def tiny_server() -> Iterator[Callable[[Callable[[socket.socket], None]], TinyServer]]:
    servers: list[TinyServer] = []

    def start(serve):
        servers.append(TinyServer(serve))
        return servers[-1]

    yield start
    for server in servers:
        server.close()


def lines(answer: Callable[[str], bytes | None]) -> Callable[[socket.socket], None]:
    """Serve line by line; an answer of None closes the connection."""

    def serve(connection: socket.socket) -> None:
        with connection.makefile("rb") as stream:
            for line in stream:
                reply = answer(line.decode().rstrip("\r\n"))
                if reply is None:
                    return
                connection.sendall(reply)

    return serve


@pytest.fixture
def line_server(tiny_server):
    return lambda answer: tiny_server(lines(answer))


@pytest.fixture
def hislip_server(tiny_server):
    """A minimal HiSLIP server over a function from message to answer, which is sent as it is."""

    def start(answer: Callable[[str], bytes]):
        return tiny_server(lambda connection: _serve_hislip(connection, answer))

    return start


def _serve_hislip(connection: socket.socket, answer: Callable[[str], bytes]) -> None:
    stream = connection.makefile("rb")
    message = b""

    def send(kind: int, control: int, parameter: int, payload: bytes = b"") -> None:
        connection.sendall(struct.pack("!2sBBIQ", b"HS", kind, control, parameter, len(payload)) + payload)

    with stream:
        while header := stream.read(16):
            _, kind, control, parameter, length = struct.unpack("!2sBBIQ", header)
            payload = stream.read(length)
            if kind == 0:
                send(1, 0, 0x0100_0001)
            elif kind == 17:
                send(18, 0, 0)
            elif kind == 15:
                send(16, 0, 0, struct.pack("!Q", 1 << 20))
            elif kind == 19:
                send(23, 0, 0)
            elif kind == 8:
                send(9, control, 0)
            elif kind in (6, 7):
                message += payload
                if kind == 7:
                    reply, message = answer(message.decode().rstrip("\r\n")), b""
                    if reply:
                        send(7, 0, parameter, reply)


@pytest.fixture
def wait_for():
    """Wait, within a bound, for something to become true."""

    def wait(true: Callable[[], bool], bound_s: float = 10.0) -> bool:
        until_s = time.monotonic() + bound_s
        while time.monotonic() < until_s:
            if true():
                return True
            time.sleep(0.01)
        return true()

    return wait
