"""The codes of a record in the same answer as its scale, where the profile of a device allows it."""

from __future__ import annotations

import struct

import numpy as np
import pytest

from harness.drivers.block import read_answers_and_block
from harness.errors import BadReply, InstrumentReported, LinkLost, ReadTimeout
from harness.values import Setting
from tests.drivers.conftest import ScriptedLink


@pytest.fixture
def profile(profile):
    """As shipped: questions together, the record as the last answer."""
    return lambda role: profile(role).model_copy(
        update={"together": role != "adapter", "record_together": role == "device"}
    )


def asked(reply: bytes) -> ScriptedLink:
    link = ScriptedLink(lambda message: reply)
    link.write(b"?\n")
    return link


@pytest.mark.parametrize(
    "payload",
    [b"", b"a", b"\n", b"\n\n", b"ab\ncd", b"#15", b";#3", b"\n;#15\n", bytes(range(256)) * 4, b"\r", b"x\r\n"],
)
def test_a_block_of_any_bytes_comes_whole_behind_its_answers(payload: bytes) -> None:
    size = str(len(payload)).encode()
    block = b"#" + str(len(size)).encode() + size + payload
    for before, text in ((b"", b""), (b'1;0,"No error";2.5;', b'1;0,"No error";2.5')):
        for end in (b"\n", b"\r\n"):
            link = asked(before + block + end)
            assert read_answers_and_block(link) == (text, payload)
            assert not link.pending


@pytest.mark.parametrize("line", [b"1;2", b'1;-113,"Undefined header;#15"', b"#", b"1;#", b"1;#012", b"1;x#15", b""])
def test_a_line_without_a_block_is_all_text(line: bytes) -> None:
    assert read_answers_and_block(asked(line + b"\n")) == (line, None)


@pytest.mark.parametrize(
    ("reply", "said"),
    [
        (b"1;#3xx4abcd\n", "its length is b'xx4'; allowed: 3 decimal digits"),
        (b"1;#41\n", "its length is b'1'; allowed: 4 decimal digits"),
        (b"1;#9999999999\n", "its length is 999999999 bytes; allowed: at most 64000000 bytes"),
        (b"1;#13abcdef\n", "b'def' follows the 3 payload bytes; allowed: the line feed"),
    ],
)
def test_a_block_of_the_wrong_form_is_told(reply: bytes, said: str) -> None:
    with pytest.raises(BadReply) as caught:
        read_answers_and_block(asked(reply))
    assert said in str(caught.value)


def test_a_block_that_is_cut_is_a_time_out() -> None:
    with pytest.raises(ReadTimeout):
        read_answers_and_block(asked(b"1;#15a\nb\n"))


def test_a_record_takes_one_answer(device_rig) -> None:
    device, instrument, link = device_rig
    device.prepare()
    device.select(Setting(1, 3, 5))
    device.acquire(1)
    link.sent.clear()
    device.select(Setting(1, 3, 6))
    wave = device.acquire(1)
    assert sum("?" in message for message in link.sent) == 2  # the setting; the record
    assert wave.sequence == instrument.sequence
    assert np.array_equal(wave.codes[:4], [0x060A, -2048, 2047, 1])


def test_meanwhile_is_called_once_while_the_instrument_is_busy(device_rig) -> None:
    device, _, link = device_rig
    device.prepare()
    seen: list[str] = []
    device.select(Setting(1, 3, 5), lambda: seen.append(link.sent[-1]))
    device.acquire(1, lambda: seen.append(link.sent[-1]))
    assert [message.split(";")[0] for message in seen] == ["*OPC?", "*OPC?"]
    assert seen[1].endswith(":FETC:CODE?")


def test_what_is_raised_meanwhile_leaves_the_link_suspect(device_rig) -> None:
    device, _, _ = device_rig
    device.prepare()

    def trouble() -> None:
        raise ValueError("not ours")

    with pytest.raises(ValueError, match="not ours"):
        device.acquire(1, trouble)
    with pytest.raises(LinkLost, match="suspect since"):
        device.select(Setting(1, 0, 0))
    device.resynchronise()
    device.select(Setting(1, 0, 0))


def test_errors_are_told_before_the_codes_are_missed(device_rig) -> None:
    device, instrument, link = device_rig
    device.prepare()
    device.acquire(1)
    asked_last = link.sent[-1]
    instrument.overrides[asked_last] = b'1;-230,"Data corrupt or stale";8;0.1;500000;SAMP\n'
    with pytest.raises(InstrumentReported, match="-230"):
        device.acquire(1)
    instrument.overrides[asked_last] = b'1;0,"No error";99;0.1;500000;SAMP\n'
    with pytest.raises(BadReply, match="allowed: the block of codes at its end"):
        device.acquire(1)


def test_a_stale_record_and_one_of_the_wrong_length_are_refused(device_rig) -> None:
    device, instrument, link = device_rig
    device.prepare()
    device.acquire(1)
    payload = struct.pack("<3h", 1, 2, 3)
    instrument.overrides[link.sent[-1]] = b'1;0,"No error";99;0.1;500000;SAMP;#16' + payload + b"\n"
    with pytest.raises(BadReply, match="got 6 bytes of codes; allowed: 4000 samples of 2 bytes"):
        device.acquire(1)
