"""The traps of raw sockets through the VISA library, each against a server of our own on loopback."""

from __future__ import annotations

import re
import socket
import struct
import threading
import time
from pathlib import Path

import pytest

from harness.bench import Link
from harness.bench.conformance import check_link
from harness.drivers import open_link
from harness.drivers.block import read_block
from harness.drivers.instrument import InstrumentDriver
from harness.drivers.visa_carrier import session_socket
from harness.drivers.visa_link import VisaLink
from harness.errors import LinkClosed, LinkLost, OpenFailed, ReadTimeout, ResourceBusy, WriteTimeout

DRIVERS = Path(__file__).resolve().parents[2] / "harness/drivers"
IDENTITY = b"Machair,SG-1,MA000123,1.0\n"


def at(server) -> str:
    return f"TCPIP::127.0.0.1::{server.port}::SOCKET"


@pytest.fixture
def link_to():
    links = []

    def open_at(server, timeout_s=5.0):
        links.append(VisaLink(at(server), timeout_s=timeout_s))
        return links[-1]

    yield open_at
    for link in links:
        link.close()


def echo(message):
    return f"{message}!\n".encode()


def test_the_link_keeps_its_contract(line_server, link_to):
    link = link_to(line_server(lambda message: IDENTITY), timeout_s=0.5)
    assert isinstance(link, Link)
    check_link(link, idle=True, closing=True)


def test_lines_and_pieces(line_server, link_to):
    link = link_to(line_server(echo))
    link.write(b"one\ntwo\n")
    assert link.read_line() == b"one!"
    assert link.read_exactly(2) == b"tw"
    assert link.read_line() == b"o!"
    assert link.read_exactly(0) == b""


def test_trap_1_a_late_answer_is_not_taken_for_the_next(line_server, profile, slot, pushed_clock):
    slow = [True]

    def answer(message):
        if message == "VOLT?" and slow:
            slow.clear()
            time.sleep(0.35)
            return b"0.5\n"
        if message == "SYST:ERR?":
            return b'0,"No error"\n'
        return IDENTITY if message == "*IDN?" else b"7\n"

    link = VisaLink(at(line_server(answer)), timeout_s=0.3)
    driver = InstrumentDriver(link, profile("source"), slot(serial="MA000123"), pushed_clock)
    with pytest.raises(ReadTimeout, match="it may still come") as caught:
        driver._query_number("VOLT?")
    assert caught.value.command == "VOLT?"
    link.patience_s = 2.0
    driver.resynchronise()
    assert driver._query_number("FREQ?") == 7.0
    driver.close()


def test_trap_2_half_an_answer_is_gone_after_the_timeout(line_server, link_to):
    answers = iter([b"half", b"whole\n"])
    link = link_to(line_server(lambda message: next(answers)), timeout_s=0.2)
    link.write(b"a\n")
    with pytest.raises(ReadTimeout):
        link.read_line()
    link.write(b"b\n")
    assert link.read_line() == b"whole"
    with pytest.raises(ReadTimeout):
        link.read_exactly(1)


def test_trap_3_a_peer_that_closes_is_seen_at_once(line_server, link_to):
    link = link_to(line_server(lambda message: None))
    link.write(b"bye\n")
    started_s = time.monotonic()
    with pytest.raises(LinkLost, match="the peer closed the connection"):
        link.read_line()
    with pytest.raises(LinkLost, match="the peer closed the connection"):
        link.clear()
    assert time.monotonic() - started_s < 2.0


def test_trap_3_a_peer_that_closes_in_the_middle_of_a_line(tiny_server, link_to):
    def serve(connection):
        connection.recv(100)
        connection.sendall(b"half a li")

    link = link_to(tiny_server(serve))
    link.write(b"a\n")
    started_s = time.monotonic()
    with pytest.raises(LinkLost, match="closed the connection"):
        link.read_line()
    assert time.monotonic() - started_s < 2.0


def test_a_peer_that_never_stops_talking_cannot_hold_up_clear(tiny_server, link_to):
    def serve(connection):
        while True:
            connection.sendall(b"blah " * 100)
            time.sleep(0.001)

    link = link_to(tiny_server(serve), timeout_s=0.3)
    with pytest.raises(ReadTimeout, match="goes on talking"):
        link.clear()


def test_trap_4_a_port_without_listener_fails_at_open(slot):
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    slot_there = slot(address=f"TCPIP::127.0.0.1::{port}::SOCKET", timeout_s=1.0)
    with pytest.raises(OpenFailed, match=f"::{port}::SOCKET: cannot be opened; check address, cable and power"):
        open_link(slot_there, role="source")
    with pytest.raises(OpenFailed):  # not ResourceBusy: the failed open has freed the lock
        open_link(slot_there, role="source")


@pytest.mark.parametrize("address", ["", "nonsense", "TCPIP::127.0.0.1::x::SOCKET", "XYZ::1::INSTR"])
def test_a_string_that_is_no_resource_fails_at_open(address):
    with pytest.raises(OpenFailed, match="cannot be opened"):
        VisaLink(address, timeout_s=0.2)


def test_a_resource_that_takes_no_messages_fails_at_open(monkeypatch):
    class Register:
        closed = False

        def close(self):
            Register.closed = True

    class Manager:
        def open_resource(self, address, open_timeout):
            return Register()

    monkeypatch.setattr("harness.drivers.visa_link.resource_manager", lambda backend: Manager())
    with pytest.raises(OpenFailed, match="a Register takes no messages; allowed: SOCKET, INSTR or ASRL resources"):
        VisaLink("PXI0::1::INSTR", timeout_s=0.2)
    assert Register.closed


def test_trap_5_a_broken_connection_is_lost_in_a_write(tiny_server, link_to):
    opened, closed = threading.Event(), threading.Event()

    def serve(connection):
        opened.wait(5.0)
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        connection.close()
        closed.set()

    link = link_to(tiny_server(serve))
    opened.set()
    assert closed.wait(5.0)
    with pytest.raises(LinkLost, match="broke"):
        link.write(b"x" * 100_000)


def test_trap_6_a_deaf_peer_cannot_block_a_write(tiny_server, link_to):
    release = threading.Event()
    server = tiny_server(lambda connection: release.wait(20.0))
    link = link_to(server, timeout_s=0.3)
    started_s = time.monotonic()
    with pytest.raises(WriteTimeout, match="takes no more bytes"):
        link.write(b"x" * 50_000_000)
    assert time.monotonic() - started_s < 5.0
    release.set()


def test_trap_7_the_open_timeout_is_always_given():
    calls = re.findall(r"\.open_resource\((.*?)\n            \)", (DRIVERS / "visa_link.py").read_text(), re.DOTALL)
    assert len(calls) == 1
    assert all("open_timeout=" in call for call in calls)


def test_trap_8_a_block_full_of_line_feeds_is_read_whole_and_fast(line_server, link_to):
    payload = b"\x0a" * 200_000  # 100 000 points of code 0x0A0A
    block = b"#6200000" + payload + b"\n"
    link = link_to(line_server(lambda message: block if message == "CODE?" else IDENTITY))
    times_s = []
    for _ in range(3):
        started_s = time.perf_counter()
        link.write(b"CODE?\n")
        assert read_block(link) == payload
        times_s.append(time.perf_counter() - started_s)
    # A read that stops at every line feed takes 700 ms; this one a few. Half of the former tells them apart.
    assert min(times_s) < 0.35
    link.write(b"*IDN?\n")
    assert link.read_line() == IDENTITY[:-1]


def test_trap_8_no_termination_character_is_ever_set_on_a_socket(line_server, link_to):
    from pyvisa.constants import ResourceAttribute

    link = link_to(line_server(echo))
    link.write(b"a\n")
    link.read_line()
    assert not link._resource.get_visa_attribute(ResourceAttribute.termchar_enabled)


def test_trap_10_a_resource_has_one_owner(line_server, slot):
    server = line_server(echo)
    link = open_link(slot(address=at(server)), role="source")
    with pytest.raises(ResourceBusy, match="held by process"):
        open_link(slot(address=at(server)), role="device")
    link.close()
    open_link(slot(address=at(server)), role="device").close()


def test_trap_11_closing_one_link_leaves_the_others_open(line_server, link_to):
    first, second = link_to(line_server(echo)), link_to(line_server(echo))
    first.close()
    second.write(b"still\n")
    assert second.read_line() == b"still!"


def test_traps_11_and_12_no_driver_closes_a_manager_or_lists_resources():
    for path in DRIVERS.glob("*.py"):
        text = path.read_text()
        assert not re.search(r"list_resources|list_opened|manager\(.*\)\.close|manager\.close", text), path.name
        assert "__del__" not in text, path.name


def test_trap_13_keepalive_is_on(line_server, link_to):
    link = link_to(line_server(echo))
    connection = session_socket(link._resource)
    assert connection is not None
    assert connection.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE)


def test_reopen_gets_a_fresh_connection_and_a_second_chance(line_server, link_to):
    server = line_server(echo)
    link = link_to(server, timeout_s=1.0)
    link.write(b"old\n")
    link.reopen()
    link.write(b"new\n")
    assert link.read_line() == b"new!"
    server.stop_listening()
    with pytest.raises(OpenFailed):
        link.reopen()
    for use in (link.clear, link.read_line, lambda: link.write(b"x")):
        with pytest.raises(LinkLost, match="could not be opened again; reopen it"):
            use()
    link.close()
    with pytest.raises(LinkClosed, match="the link is closed; open a new one"):
        link.reopen()


def test_without_a_socket_to_be_found_the_library_reads_alone(line_server, monkeypatch):
    block = b"#14\n\n\n\n\n"
    server = line_server(lambda message: block if message == "CODE?" else echo(message))
    monkeypatch.setattr("harness.drivers.visa_link.session_socket", lambda resource: None)
    link = VisaLink(at(server), timeout_s=2.0)
    check_link(link, query=b"hello\n")
    link.write(b"CODE?\n")
    assert read_block(link) == b"\n\n\n\n"
    link.close()
