from __future__ import annotations

import pytest

from harness.errors import BadReply, BenchError, InstrumentReported


def test_arm_is_acknowledged(adapter_rig):
    driver, _, link = adapter_rig
    driver.arm()
    assert link.sent == ["ARM", "SYST:ERR?"]


def test_fetch_hands_over_events(adapter_rig):
    driver, instrument, _ = adapter_rig
    instrument.events.append((2**40 + 10, 0x0A))
    instrument.dropped = 3
    capture = driver.fetch()
    assert capture.times_ns.tolist() == [100, 200, 200, 2**40 + 10]
    assert capture.levels.tolist() == [1, 3, 2, 10]
    assert (capture.initial, capture.dropped) == (5, 3)
    assert capture.lines[:3] == ("data", "clock", "latch-1")


def test_an_empty_capture_is_sound(adapter_rig):
    driver, instrument, _ = adapter_rig
    instrument.events.clear()
    assert driver.fetch().times_ns.size == 0


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b"GLC", "3 bytes beginning with b'GLC'"),
        (b"XXXX" + bytes(12), "16 bytes beginning with b'XXXX'"),
        (b"GLC2" + bytes(12) + b"\x01\x02\x03\x04", "check sum eacf1d0d; allowed: the check sum 04030201 at their end"),
        (b"GLC2" + bytes(12), "16 bytes with check sum"),
        (b"GLC1" + bytes(8) + b"\x02\x00\x00\x00" + bytes(8), "24 bytes; allowed: 32 bytes for 2 events"),
    ],
)
def test_a_capture_of_the_wrong_form(adapter_rig, payload, words):
    driver, instrument, _ = adapter_rig
    instrument.overrides["FETCH?"] = f"#2{len(payload):02d}".encode() + payload + b"\n"
    with pytest.raises(BadReply, match=words):
        driver.fetch()


def test_load_word_in_hexadecimal(adapter_rig):
    driver, _, link = adapter_rig
    driver.load_word("latch-2", 9, 0x1AB)
    assert link.sent[0] == "LOAD latch-2 9 1AB"


@pytest.mark.parametrize(
    ("word", "words"),
    [
        (("latch-9", 9, 1), "no such latch: 'latch-9'; allowed: latch-1, latch-2"),
        (("latch-1", 0, 0), "a word of 0 bits; allowed: 1 to 64"),
        (("latch-1", 9, 512), "word 512; allowed: 0 to 511 in 9 bits"),
        (("latch-1", 9, -1), "word -1; allowed"),
    ],
)
def test_a_word_that_does_not_exist_is_not_sent(adapter_rig, word, words):
    driver, _, link = adapter_rig
    with pytest.raises(BenchError, match=words):
        driver.load_word(*word)
    assert link.sent == []


def test_another_answer_than_ok(adapter_rig):
    driver, instrument, _ = adapter_rig
    instrument.overrides["ARM"] = b"BUSY\n"
    with pytest.raises(BadReply, match="got 'BUSY'; allowed: OK"):
        driver.arm()


def test_a_refused_command_is_reported(adapter_rig):
    driver, instrument, _ = adapter_rig
    instrument.overrides["ARM"] = b"ERR\n"
    instrument.errors = ['-200,"Execution error"']
    with pytest.raises(InstrumentReported, match="-200, Execution error"):
        driver.arm()
