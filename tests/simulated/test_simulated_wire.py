"""The same bench over loopback: what pyvisa-py and pyserial see is what the link in memory gives."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import socket
import struct
import subprocess
import sys
import threading
import time
import zlib
from pathlib import Path

import numpy as np
import pytest
import pyvisa
import serial

from harness.errors import UsageError
from harness.simulated import serve

pytestmark = pytest.mark.wire
ROOT = Path(__file__).parents[2]
DIALOGUE = {
    "source": ["*IDN?", "OUTP:LOAD INF;:FREQ 2125;:VOLT 7;:OUTP ON;*OPC?", "VOLT?;:OUTP:LOAD?", "VOLT 99", "SYST:ERR?"],
    "device": [
        "*IDN?",
        "INP2:RANG 10;FINE 70;*OPC?",
        "INP2:RANG?;FINE?",
        "FOO",
        "SYST:ERR?",
        "ACQ:CHAN 2;POIN 2000;:INIT;*OPC?",
        "FETC:SCAL?;SEQ?",
        "FETC:CODE?",
        "*ESR?;*STB?",
    ],
    "adapter": ["*IDN?", "ARM", "LOAD latch-1 9 1FF", "LINES?", "FOO", "SYST:ERR?"],
}


class RealClock:
    def now_s(self):
        return time.monotonic()

    def utc(self):
        return dt.datetime.now(dt.UTC).isoformat(timespec="microseconds")

    def sleep(self, seconds):
        time.sleep(seconds)


@contextlib.contextmanager
def served(make_desk, *, via=("socket", "hislip", "pty"), faults=()):
    def change(text):
        # Without drift the record does not depend on when it is taken.
        text = text.replace("drift_percent = 0.01", "drift_percent = 0.0")
        for role, old, new in zip(("source", "device", "adapter"), ("socket", "hislip", "pty"), via, strict=True):
            head, _, tail = text.partition(f"[{role}]")
            text = head + f"[{role}]" + tail.replace(f'via = "{old}"', f'via = "{new}"', 1)
        return text

    desk = make_desk(*faults, change=change, clock=RealClock())
    addresses, ready, stop = {}, threading.Event(), threading.Event()

    def announce(found):
        addresses.update(found)
        ready.set()

    thread = threading.Thread(target=serve, args=(desk.world,), kwargs={"announce": announce, "stop": stop.is_set})
    thread.start()
    try:
        assert ready.wait(10)
        yield addresses, desk
    finally:
        stop.set()
        thread.join(10)
        assert not thread.is_alive()


@contextlib.contextmanager
def opened(address):
    """A function that sends a line and returns the whole answer as bytes."""
    if address.startswith("TCPIP"):
        ends = {"read_termination": "\n", "write_termination": "\n"} if address.endswith("SOCKET") else {}
        with pyvisa.ResourceManager("@py").open_resource(address, open_timeout=2000, timeout=2000, **ends) as resource:
            yield resource
    else:
        with serial.serial_for_url(address, timeout=2, write_timeout=2) as port:
            yield port


def put(link, message):
    link.write(message.encode() + b"\n" if isinstance(link, serial.SerialBase) else message)


def get(link):
    """One answer: a line, or a block with its line feed."""
    if isinstance(link, serial.SerialBase):
        return link.read_until(b"\n")
    if link.resource_name.endswith("SOCKET"):
        start = link.read_bytes(2, break_on_termchar=False)
        if start[:1] != b"#":
            return start if start[-1:] == b"\n" else start + link.read_bytes(10_000, break_on_termchar=True)
        digits = link.read_bytes(int(start[1:]), break_on_termchar=False)
        return start + digits + link.read_bytes(int(digits) + 1, break_on_termchar=False)
    return link.read_raw()


@pytest.mark.parametrize("via", [("socket", "hislip", "pty"), ("hislip", "socket", "tcp-serial")], ids=str)
def test_the_wire_answers_the_same_bytes_as_memory(make_desk, via):
    memory = make_desk(change=lambda text: text.replace("drift_percent = 0.01", "drift_percent = 0.0"))
    with served(make_desk, via=via) as (addresses, _), contextlib.ExitStack() as stack:
        assert addresses["adapter"].startswith("/dev/" if via[2] == "pty" else "socket://127.0.0.1:")
        for role, how in zip(("source", "device"), via, strict=False):
            assert addresses[role].endswith("::SOCKET" if how == "socket" else "::INSTR")
        for role, messages in DIALOGUE.items():
            link = stack.enter_context(opened(addresses[role]))
            for message in messages:
                expected = memory.world.instruments[role].handle(message.encode())
                memory.clock.sleep(0.1)
                put(link, message)
                if expected:
                    assert get(link) == expected, message
                else:
                    assert role != "adapter"


def test_operation_complete_really_comes_late(make_desk):
    with served(make_desk) as (addresses, _), opened(addresses["device"]) as device:
        device.query("*OPC?")
        for message, least_s in (("INP1:RANG 2", 0.010), ("INP1:FINE 70", 0.001), ("INIT", 0.008)):
            began_s = time.monotonic()
            device.write(message)
            assert device.query("*OPC?").strip() == "1"
            assert least_s <= time.monotonic() - began_s < least_s + 0.2


@pytest.mark.parametrize("via", [("socket", "hislip", "pty"), ("hislip", "socket", "pty")], ids=str)
def test_a_watchdog_beside_the_main_client_switches_off(make_desk, via):
    with served(make_desk, via=via) as (addresses, desk):
        with opened(addresses["source"]) as main, opened(addresses["source"]) as watchdog:
            # Answered, so carried out: a write alone may be overtaken by the other client's query.
            assert main.query("OUTP ON;*OPC?").strip() == "1"
            assert watchdog.query("OUTP?").strip() == "1"
        # The last words of a client that goes away at once are carried out.
        if via[0] == "socket":
            with socket.create_connection(("127.0.0.1", int(addresses["source"].split("::")[2]))) as raw:
                raw.sendall(b"*OPC?;OUTP OFF\n")
            deadline_s = time.monotonic() + 5
            while desk.world.source.output and time.monotonic() < deadline_s:
                time.sleep(0.005)
            assert not desk.world.source.output


def test_hislip_clear_status_and_large_blocks(make_desk):
    with served(make_desk) as (addresses, _), opened(addresses["device"]) as device:
        assert device.read_stb() == 0
        device.write("FOO")
        # The status comes by a connection of its own and may overtake the command.
        deadline_s = time.monotonic() + 5
        while not (status := device.read_stb()) and time.monotonic() < deadline_s:
            time.sleep(0.001)
        assert status == 4
        assert device.query("SYST:ERR?").startswith("-113")
        assert device.query("INP1:RANG 2;*OPC?").strip() == "1"
        device.write("*OPC?")
        device.clear()
        assert device.query("INP1:RANG?").strip() == "2"
        device.write("ACQ:POIN 1000000;SRAT MAX;:INIT")
        codes = device.query_binary_values("FETC:CODE?", datatype="h", container=np.array)
        assert len(codes) == 1_000_000


def test_hislip_message_available_is_in_the_status_byte(make_desk):
    with served(make_desk) as (addresses, _), opened(addresses["device"]) as device:
        device.write("*CLS;INIT;*OPC?")
        deadline_s = time.monotonic() + 5
        while not (status := device.read_stb()) and time.monotonic() < deadline_s:
            time.sleep(0.001)
        assert status == device.read_stb() == 16
        assert device.read().strip() == "1"
        assert device.read_stb() == 0


def frame(kind, control=0, parameter=0, payload=b"", prologue=b"HS"):
    return struct.pack("!2sBBIQ", prologue, kind, control, parameter, len(payload)) + payload


def receive(connection):
    head = b""
    while len(head) < 16:
        piece = connection.recv(16 - len(head))
        if not piece:
            return None
        head += piece
    _, kind, control, parameter, length = struct.unpack("!2sBBIQ", head)
    payload = b""
    while len(payload) < length:
        payload += connection.recv(length - len(payload))
    return kind, control, parameter, payload


@pytest.fixture
def hislip(make_desk):
    """Two connections of one session, already begun."""
    with served(make_desk) as (addresses, _):
        port = int(addresses["device"].split(",")[1].split("::")[0])
        with contextlib.ExitStack() as stack:

            def connect():
                connection = stack.enter_context(socket.create_connection(("127.0.0.1", port), timeout=5))
                connection.settimeout(5)
                return connection

            yield connect


def begun(connect):
    sync, other = connect(), connect()
    sync.sendall(frame(0, 0, 0x01007878, b"hislip0"))
    kind, control, parameter, _ = receive(sync)
    assert (kind, control, parameter >> 16) == (1, 0, 0x0100)
    other.sendall(frame(17, 0, parameter & 0xFFFF))
    assert receive(other)[0] == 18
    return sync, other


# Message types and fatal errors: IVI-6.1, HiSLIP, tables of message types and error codes (from memory).
def test_hislip_splits_answers_and_joins_messages(hislip):
    sync, other = begun(hislip)
    other.sendall(frame(15, 0, 0, (24).to_bytes(8, "big")))
    assert receive(other) == (16, 0, 0, (1 << 20).to_bytes(8, "big"))
    sync.sendall(frame(6, 0, 100, b"*ID") + frame(7, 0, 102, b"N?\n"))
    pieces = [receive(sync) for _ in range(4)]
    assert [piece[:3] for piece in pieces] == [(6, 0, 102)] * 3 + [(7, 0, 102)]
    assert b"".join(piece[3] for piece in pieces) == b"Skerry,HR-4,SK000001,1.0\n"


def test_hislip_messages_by_lines_are_answered_in_order(hislip):
    sync, _ = begun(hislip)
    sync.sendall(frame(7, 0, 100, b"INP1:FINE 70\r\n*OPC?;:INP1:FINE?\nINP1:FINE?\n"))
    assert [receive(sync) for _ in range(2)] == [(7, 0, 100, b"1;70\n"), (7, 0, 100, b"70\n")]


def test_hislip_small_requests(hislip):
    sync, other = begun(hislip)
    for sent, expected in (((4, 1), (5, 1, 0)), ((24,), (25, 0, 0)), ((10, 1), (11, 0, 0)), ((19,), (23, 0, 0))):
        other.sendall(frame(*sent))
        assert receive(other)[:3] == expected
    sync.sendall(frame(8))
    assert receive(sync)[:3] == (9, 0, 0)
    sync.sendall(frame(12) + frame(99))
    assert receive(sync) == (3, 1, 0, b"unrecognized message type")


@pytest.mark.parametrize(
    ("first", "answer"),
    [
        (frame(0, prologue=b"XX"), (2, 1, 0, b"poorly formed message header")),
        (frame(17, 0, 4711), (2, 3, 0, b"invalid initialization sequence")),
        (frame(7, 0, 0, b"*IDN?"), (2, 3, 0, b"invalid initialization sequence")),
    ],
)
def test_hislip_hangs_up_on_a_broken_beginning(hislip, first, answer):
    connection = hislip()
    connection.sendall(first)
    assert receive(connection) == answer
    assert receive(connection) is None


def test_hislip_wants_both_channels(hislip):
    sync = hislip()
    sync.sendall(frame(0, 0, 0x01007878, b"hislip0"))
    assert receive(sync)[0] == 1
    sync.sendall(frame(7, 0, 100, b"*IDN?"))
    assert receive(sync)[:2] == (2, 2)
    assert receive(sync) is None
    begun(hislip)


def test_a_pty_serves_one_client_after_another(make_desk):
    with served(make_desk) as (addresses, _):
        for _ in range(2):
            with serial.Serial(addresses["adapter"], 115_200, timeout=2, write_timeout=2, exclusive=True) as port:
                port.write(b"ARM\nFETCH?\n")
                assert port.read_until(b"\n") == b"OK\n"
                # CRC-32 of the sixteen bytes, by zlib.
                crc = zlib.crc32(b"GLC2" + bytes(12)).to_bytes(4, "little")
                assert port.read(4 + 20 + 1) == b"#220GLC2" + bytes(12) + crc + b"\n"


@pytest.mark.parametrize("via", [("socket", "hislip", "pty"), ("hislip", "socket", "tcp-serial")], ids=str)
def test_clients_that_break_off_do_not_disturb_the_others(make_desk, via):
    with served(make_desk, via=via) as (addresses, _):
        for role in ("source", "device"):
            parts = addresses[role].replace("hislip0,", "").split("::")
            raw = socket.create_connection(("127.0.0.1", int(parts[2])))
            # Reset instead of a clean end, with an answer still to come.
            raw.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            raw.sendall(b"*OPC?;*IDN?\n" * 2000)
            raw.close()
            with opened(addresses[role]) as link:
                assert link.query("*OPC?").strip() == "1"


def test_a_block_that_is_read_slowly_arrives_whole(make_desk):
    with served(make_desk, via=("hislip", "socket", "pty")) as (addresses, _), opened(addresses["device"]) as device:
        device.write("ACQ:POIN 1000000;SRAT MAX;:INIT;:FETC:CODE?")
        time.sleep(1.3)
        with opened(addresses["device"]) as other:
            assert other.query("*OPC?") == "1"
        assert len(get(device)) == 2 + 7 + 2_000_000 + 1


def test_a_bench_that_cannot_be_served_so(make_desk):
    desk = make_desk(change=lambda text: text.replace('via = "socket"', 'via = "pty"', 1))
    with pytest.raises(UsageError, match=r"source\.via: got 'pty'; allowed: socket or hislip"):
        serve(desk.world, announce=lambda _: None)


def test_a_process_of_its_own_ends_with_its_standard_input():
    script = (
        "import time, sys, json\n"
        "from harness.config import BenchFile, parse\n"
        "from harness.simulated import build_world, serve\n"
        "class Clock:\n"
        "    now_s = staticmethod(time.monotonic)\n"
        "    sleep = staticmethod(time.sleep)\n"
        "    utc = staticmethod(time.ctime)\n"
        "text = open('configs/benches/simulated.toml').read()\n"
        "world = build_world(parse(BenchFile, text, file='b'), seed=1, faults=(), clock=Clock(), file='b')\n"
        "serve(world, announce=lambda found: print(json.dumps(found), flush=True), until_eof=0)\n"
        "print('ended')\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", script],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    with process:
        assert '"source": "TCPIP::127.0.0.1::' in process.stdout.readline()
        process.stdin.close()
        assert process.stdout.read() == "ended\n"
    assert process.returncode == 0
