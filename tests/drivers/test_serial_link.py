from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import re
import socket
import threading
import time
import tty
from pathlib import Path

import pytest

from harness.bench import Link
from harness.bench.conformance import check_link
from harness.drivers import open_link
from harness.drivers.block import read_block
from harness.drivers.serial_link import SerialLink
from harness.errors import LinkClosed, LinkLost, OpenFailed, ReadTimeout, ResourceBusy, WriteTimeout

SOURCE = Path(__file__).resolve().parents[2] / "harness/drivers/serial_link.py"
IDENTITY = b"Strath,BA-1,BA000789,1.0\n"


class PtyPeer:
    """The other end of a pseudo-terminal, answering lines."""

    def __init__(self, answer):
        self.ours, self.theirs = pty.openpty()
        tty.setraw(self.theirs)
        self.port = os.ttyname(self.theirs)
        self.answer = answer
        self.stop_r, self.stop_w = os.pipe()
        self.thread = threading.Thread(target=self._serve)
        self.thread.start()

    def _serve(self):
        import select

        heard = b""
        while True:
            ready, _, _ = select.select([self.ours, self.stop_r], [], [])
            if self.stop_r in ready:
                return
            try:
                heard += os.read(self.ours, 4096)
            except OSError:
                return
            while b"\n" in heard:
                line, _, heard = heard.partition(b"\n")
                os.write(self.ours, self.answer(line.decode()))

    def unplug(self):
        os.write(self.stop_w, b"x")
        self.thread.join(5.0)
        with contextlib.suppress(OSError):
            os.close(self.theirs)
        with contextlib.suppress(OSError):
            os.close(self.ours)

    def close(self):
        self.unplug()
        os.close(self.stop_r)
        os.close(self.stop_w)


@pytest.fixture
def peer():
    peers = []

    def start(answer):
        peers.append(PtyPeer(answer))
        return peers[-1]

    yield start
    for each in peers:
        each.close()


@pytest.fixture
def serial_link():
    links = []

    def start(address, timeout_s=2.0):
        links.append(SerialLink(address, baud=115_200, timeout_s=timeout_s))
        return links[-1]

    yield start
    for link in links:
        link.close()


def answer(message):
    if message == "FETCH?":
        return b"#18\n\n\n\n\n\n\n\n\n"
    return IDENTITY if message == "*IDN?" else message.encode() + b"!\n"


def test_a_port_keeps_the_contract(peer, serial_link):
    link = serial_link(peer(answer).port, timeout_s=0.5)
    assert isinstance(link, Link)
    check_link(link, idle=True, closing=True)


def test_a_url_keeps_the_contract(line_server, serial_link):
    link = serial_link(f"socket://127.0.0.1:{line_server(answer).port}", timeout_s=0.5)
    check_link(link, idle=True, closing=True)


def test_blocks_and_lines(peer, serial_link):
    link = serial_link(peer(answer).port)
    link.write(b"FETCH?\n")
    assert read_block(link) == b"\n" * 8
    link.write(b"a\nb\n")
    assert (link.read_line(), link.read_line()) == (b"a!", b"b!")


@pytest.mark.parametrize("kind", ["port", "url"])
def test_a_kilobyte_costs_no_byte_a_call(peer, line_server, serial_link, kind):
    payload = bytes(range(256)) * 16
    block = b"#44096" + payload + b"\n"
    if kind == "port":
        address = peer(lambda message: block).port
    else:
        address = f"socket://127.0.0.1:{line_server(lambda message: block).port}"
    link = serial_link(address)
    times_s = []
    for _ in range(3):
        started_s = time.perf_counter()
        link.write(b"FETCH?\n")
        assert read_block(link) == payload
        times_s.append(time.perf_counter() - started_s)
    assert min(times_s) < 0.05


def test_the_deadline_is_of_the_whole_line_not_of_each_byte(tiny_server, serial_link):
    def serve(connection):
        for _ in range(30):
            connection.sendall(b"x")
            time.sleep(0.1)

    link = serial_link(f"socket://127.0.0.1:{tiny_server(serve).port}", timeout_s=0.3)
    started_s = time.monotonic()
    with pytest.raises(ReadTimeout, match="no complete answer in time"):
        link.read_line()
    assert time.monotonic() - started_s < 1.5


def test_after_a_timeout_what_had_arrived_is_gone(peer, serial_link):
    answers = iter([b"half", b"whole\n"])
    link = serial_link(peer(lambda message: next(answers)).port, timeout_s=0.2)
    link.write(b"a\n")
    with pytest.raises(ReadTimeout):
        link.read_line()
    link.write(b"b\n")
    assert link.read_line() == b"whole"


def test_a_deaf_port_cannot_block_a_write(serial_link):
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    link = serial_link(os.ttyname(theirs), timeout_s=0.3)
    started_s = time.monotonic()
    with pytest.raises(WriteTimeout, match="takes no more bytes"):
        link.write(b"x" * 1_000_000)
    assert time.monotonic() - started_s < 3.0
    link.close()
    os.close(ours)
    os.close(theirs)


def asked(link):
    link.write(b"*IDN?\n")
    return link.read_line()


def test_an_unplugged_port_is_lost(peer, serial_link):
    other = peer(answer)
    link = serial_link(other.port)
    link.write(b"*IDN?\n")
    assert link.read_line() == IDENTITY[:-1]
    other.unplug()
    with pytest.raises(LinkLost):
        asked(link)
    with pytest.raises(LinkLost):
        link.clear()
    with pytest.raises(OpenFailed):
        link.reopen()
    for use in (link.clear, link.read_line, lambda: link.write(b"x")):
        with pytest.raises(LinkLost, match="could not be opened again; reopen it"):
            use()


def test_a_peer_that_never_stops_talking_cannot_hold_up_clear(tiny_server, serial_link):
    def serve(connection):
        while True:
            connection.sendall(b"blah")
            time.sleep(0.005)

    link = serial_link(f"socket://127.0.0.1:{tiny_server(serve).port}", timeout_s=0.3)
    with pytest.raises(ReadTimeout, match="goes on talking"):
        link.clear()


def test_a_url_whose_peer_closes_is_lost(line_server, serial_link):
    link = serial_link(f"socket://127.0.0.1:{line_server(lambda message: None).port}")
    link.write(b"bye\n")
    with pytest.raises(LinkLost, match="disconnected"):
        link.read_line()


@pytest.mark.parametrize("address", ["/dev/no-such-port", "nonsense://1", "socket://127.0.0.1:1"])
def test_a_port_that_cannot_be_opened(address, slot):
    with pytest.raises(OpenFailed, match=re.escape(address) + ": cannot be opened; check address"):
        open_link(slot(address=address), role="adapter")


def test_our_lock_names_the_holder_and_goes_with_the_link(peer, slot):
    port = peer(answer).port
    link = open_link(slot(address=port), role="adapter")
    with pytest.raises(ResourceBusy, match=f"held by process {os.getpid()} "):
        open_link(slot(address=port), role="adapter")
    link.close()
    link.close()
    open_link(slot(address=port), role="adapter").close()


def test_a_port_locked_by_another_program_is_busy(peer, slot):
    port = peer(answer).port
    other = os.open(port, os.O_RDWR | os.O_NOCTTY)
    fcntl.flock(other, fcntl.LOCK_EX)
    with pytest.raises(ResourceBusy, match="held by another program; end that program first"):
        open_link(slot(address=port), role="adapter")
    os.close(other)


def test_the_modem_lines_are_set_before_the_port_opens(monkeypatch):
    import serial

    calls = []

    class Port:
        def __setattr__(self, name, value):
            calls.append((name, value))

        def open(self):
            calls.append(("open", None))

        def close(self):
            pass

    def build(address, **keys):
        calls.append(("build", keys))
        return Port()

    monkeypatch.setattr(serial, "serial_for_url", build)
    SerialLink("/dev/port", baud=9600, timeout_s=1.5).close()
    assert calls[0] == ("build", {"do_not_open": True, "baudrate": 9600, "exclusive": True})
    before_open = calls[1 : calls.index(("open", None))]
    assert before_open == [("dtr", False), ("rts", False), ("timeout", 1.5), ("write_timeout", 1.5)]


def test_the_port_is_never_flushed_nor_read_by_its_own_lines():
    assert not re.search(r"\.flush\(|\.readline\(|read_until", SOURCE.read_text())


def test_a_closed_link_says_so(peer, serial_link):
    link = serial_link(peer(answer).port)
    link.close()
    with pytest.raises(LinkClosed, match="the link is closed; open a new one"):
        link.write(b"x\n")


def test_a_url_without_listener_fails_at_open():
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    with pytest.raises(OpenFailed, match="refused"):
        SerialLink(f"socket://127.0.0.1:{port}", baud=9600, timeout_s=0.5)
