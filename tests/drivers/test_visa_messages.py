"""Links whose messages have an end (HiSLIP), and serial ports through VISA."""

from __future__ import annotations

import gc
import os
import pty
import threading
import time
import tty

import pytest

from harness.bench.conformance import check_link
from harness.drivers.block import read_answers_and_block, read_block
from harness.drivers.visa_link import VisaLink
from harness.drivers.visa_manager import backend_of
from harness.errors import BadReply, LinkLost, OpenFailed, ReadTimeout

BLOCK = b"#18\n\n\n\n\n\n\n\n"


@pytest.fixture
def hislip(hislip_server):
    links = []

    def open_on(answer, timeout_s=2.0):
        server = hislip_server(answer)
        links.append(VisaLink(f"TCPIP::127.0.0.1::hislip0,{server.port}::INSTR", timeout_s=timeout_s))
        return links[-1]

    yield open_on
    for link in links:
        link.close()


@pytest.mark.parametrize("end", [b"\n", b""])
def test_the_link_keeps_its_contract_with_or_without_line_feed(hislip, end):
    check_link(hislip(lambda message: b"Skerry,HR-4,SK000456,1.0" + end), idle=True, closing=True)


@pytest.mark.parametrize("end", [b"\n", b""])
def test_a_block_full_of_line_feeds_with_or_without_its_own(hislip, end):
    link = hislip(lambda message: BLOCK + end if message == "CODE?" else b"7\n")
    for _ in range(2):
        link.write(b"CODE?\n")
        assert read_block(link) == b"\n" * 8
        link.write(b"N?\n")
        assert link.read_line() == b"7"


@pytest.mark.parametrize("payload", [b"ab\n", b"\n\n\n", b"a\nb", b"abc"])
@pytest.mark.parametrize("end", [b"\n", b""])
def test_answers_with_a_block_whose_last_byte_may_be_a_line_feed(hislip, payload, end):
    link = hislip(lambda message: b"1;2;#13" + payload + end if message == "ALL?" else b"7\n")
    for _ in range(2):
        link.write(b"ALL?\n")
        assert read_answers_and_block(link) == (b"1;2", payload)
        link.write(b"N?\n")
        assert link.read_line() == b"7"


def test_a_large_block(hislip):
    payload = b"\x0a\xff" * 100_000
    link = hislip(lambda message: b"#6200000" + payload + b"\n")
    link.write(b"CODE?\n")
    assert read_block(link) == payload


def test_a_truncated_block_is_seen_without_waiting(hislip):
    link = hislip(lambda message: b"#18abc" if message == "CODE?" else b"7\n")
    link.write(b"CODE?\n")
    started_s = time.monotonic()
    with pytest.raises(BadReply, match="the message ended after 3 bytes; allowed: 8 bytes"):
        read_block(link)
    assert time.monotonic() - started_s < 1.0
    link.write(b"N?\n")
    assert link.read_line() == b"7"


def test_nothing_is_read_that_was_not_asked_for(hislip):
    link = hislip(lambda message: b"7\n", timeout_s=5.0)
    started_s = time.monotonic()
    with pytest.raises(ReadTimeout, match="no answer is due: nothing was asked"):
        link.read_line()
    assert time.monotonic() - started_s < 1.0


def test_a_late_answer_is_dropped_by_its_number(hislip):
    def answer(message):
        if message == "SLOW?":
            time.sleep(0.4)
        return message.encode() + b"\n"

    link = hislip(answer, timeout_s=0.2)
    link.write(b"SLOW?\n")
    with pytest.raises(ReadTimeout):
        link.read_line()
    link.patience_s = 2.0
    link.write(b"NEXT?\n")
    assert link.read_line() == b"NEXT?"


def test_clear_or_reopen_recovers_after_a_timeout(hislip):
    answers = iter([b"", b"7\n"])
    link = hislip(lambda message: next(answers), timeout_s=0.3)
    link.write(b"A?\n")
    with pytest.raises(ReadTimeout):
        link.read_line()
    link.clear()
    link.write(b"B?\n")
    assert link.read_line() == b"7"


def ask_often(link):
    for _ in range(3):
        link.write(b"N?\n")
        link.read_line()


def test_a_peer_that_closes_is_a_lost_link(hislip_server):
    server = hislip_server(lambda message: b"7\n")
    link = VisaLink(f"TCPIP::127.0.0.1::hislip0,{server.port}::INSTR", timeout_s=2.0)
    link.write(b"N?\n")
    assert link.read_line() == b"7"
    server.close()
    with pytest.raises(LinkLost, match="broke"):
        ask_often(link)
    link.close()


def test_nobody_listens(line_server):
    server = line_server(lambda message: None)
    server.close()
    with pytest.raises(OpenFailed, match=r"cannot be opened; .*refused"):
        VisaLink(f"TCPIP::127.0.0.1::hislip0,{server.port}::INSTR", timeout_s=1.0)
    gc.collect()


def test_a_server_of_another_protocol(line_server):
    server = line_server(lambda message: b"what?" * 100)
    with pytest.raises(OpenFailed, match="cannot be opened"):
        VisaLink(f"TCPIP::127.0.0.1::hislip0\n,{server.port}::INSTR", timeout_s=1.0)
    gc.collect()


def test_backends():
    assert backend_of("TCPIP::192.0.2.1::5025::SOCKET") == "@py"
    assert backend_of("tcpip0::192.0.2.1::hislip0::instr") == "@py"
    assert backend_of("USB0::0x1234::0x5678::SN::INSTR") == ""
    assert backend_of("GPIB::7::INSTR") == ""


def test_a_serial_port_through_visa():
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    port = os.ttyname(theirs)
    stop = threading.Event()

    def serve():
        heard = b""
        while not stop.is_set():
            try:
                heard += os.read(ours, 100)
            except OSError:
                return
            while b"\n" in heard:
                line, _, heard = heard.partition(b"\n")
                os.write(ours, BLOCK + b"\n" if line == b"CODE?" else line + b"!\n")

    thread = threading.Thread(target=serve)
    thread.start()
    link = VisaLink(f"ASRL{port}::INSTR", timeout_s=1.0)
    try:
        link.write(b"one\n")
        assert link.read_line() == b"one!"
        link.write(b"CODE?\n")
        assert read_block(link) == b"\n" * 8
        link.write(b"two\n")
        assert link.read_exactly(2) == b"tw"
        assert link.read_line() == b"o!"
    finally:
        link.write(b"end\n")
        stop.set()
        link.close()
        os.close(theirs)
        thread.join(5.0)
        os.close(ours)
