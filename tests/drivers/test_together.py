"""Several questions in one message, where the profile of an instrument allows it."""

from __future__ import annotations

import pytest

from harness.drivers.instrument import split_answers
from harness.errors import BadReply, InstrumentReported
from harness.values import Setting

LEVEL = "*OPC?;:SYST:ERR?;:VOLT?"


@pytest.fixture
def profile(profile):
    """As elsewhere here, with the questions together again."""
    return lambda role: profile(role).model_copy(update={"together": role != "adapter"})


def test_answers_are_cut_outside_of_quotes() -> None:
    assert split_answers('1;-113,"Undefined header; NONSENSE"; 2.0') == [
        "1",
        '-113,"Undefined header; NONSENSE"',
        "2.0",
    ]
    assert split_answers("1") == ["1"]
    assert split_answers("1;'a;b'") == ["1", "'a;b'"]


def test_a_level_is_set_checked_and_read_back_in_one_answer(source_rig) -> None:
    source, instrument, link = source_rig()
    source.prepare()
    link.sent.clear()
    assert source.set_level(0.25) == 0.25
    assert link.sent == ["VOLT 0.5", LEVEL]
    assert instrument.values["VOLT"] == "0.5"


def test_a_record_takes_one_answer_and_its_codes(device_rig) -> None:
    device, _, link = device_rig
    device.prepare()
    link.sent.clear()
    device.select(Setting(1, 3, 5))
    wave = device.acquire(1)
    assert wave.mode == "sample"
    assert sum("?" in message for message in link.sent) == 4  # the setting; the counter before; the record; its codes
    link.sent.clear()
    device.select(Setting(1, 3, 6))
    device.acquire(1)
    assert sum("?" in message for message in link.sent) == 3


def test_all_entries_of_the_error_queue_are_told_and_the_link_stays_sound(source_rig) -> None:
    source, instrument, _ = source_rig()
    source.prepare()
    instrument.errors += ['-222,"Data out of range; VOLT"', '-113,"Undefined header"']
    with pytest.raises(InstrumentReported, match="-222, Data out of range; VOLT; -113, Undefined header") as caught:
        source.set_level(0.25)
    assert caught.value.codes == (-222, -113)
    assert source.set_level(0.1) == 0.1


@pytest.mark.parametrize("reply", [b"1\n", b'1;0,"No error"\n', b'1;0,"No error";0.5;0.5\n', b"\n"])
def test_as_many_answers_as_questions_or_the_link_is_suspect(source_rig, reply: bytes) -> None:
    source, instrument, _ = source_rig()
    source.prepare()
    instrument.overrides[LEVEL] = reply
    with pytest.raises(BadReply, match="3 answers with semicolons between"):
        source.set_level(0.25)
    with pytest.raises(Exception, match="suspect since"):
        source.set_level(0.25)


def test_not_complete_is_a_bad_reply(source_rig) -> None:
    source, instrument, _ = source_rig()
    source.prepare()
    instrument.overrides[LEVEL] = b'0;0,"No error";0.5\n'
    with pytest.raises(BadReply, match="allowed: 1"):
        source.set_level(0.25)
