"""A command and the questions behind it in one transmission, where the profile of an instrument allows it."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import BadReply, InstrumentReported, LinkLost, ReadTimeout
from harness.values import Setting

LEVEL = "*OPC?;:SYST:ERR?;:VOLT?"


@pytest.fixture
def profile(profile):
    """As shipped."""
    return lambda role: profile(role).model_copy(
        update={"together": role != "adapter", "record_together": role == "device", "grouped": True}
    )


def test_a_level_takes_one_transmission(source_rig) -> None:
    source, instrument, link = source_rig()
    source.prepare()
    link.written.clear()
    assert source.set_level(0.25) == 0.25
    assert link.written == [f"VOLT 0.5\n{LEVEL}\n"]
    assert instrument.values["VOLT"] == "0.5"


def test_a_record_takes_one_transmission(device_rig) -> None:
    device, instrument, link = device_rig
    device.prepare()
    device.acquire(1)
    link.written.clear()
    device.select(Setting(1, 3, 6))
    wave = device.acquire(1)
    # Range, position, questions; channel, start, questions.
    assert [text.count("\n") for text in link.written] == [3, 3]
    assert wave.sequence == instrument.sequence
    assert np.array_equal(wave.codes[:4], [0x060A, -2048, 2047, 1])


def test_errors_of_the_commands_are_told_with_all_of_them(device_rig) -> None:
    device, instrument, _ = device_rig
    device.prepare()
    instrument.errors.append('-222,"Data out of range; FINE"')
    with pytest.raises(InstrumentReported, match="-222, Data out of range; FINE") as caught:
        device.select(Setting(1, 3, 5))
    assert caught.value.command.startswith("INP1:RANG")
    assert device.select(Setting(1, 3, 5)) == (("coarse", "2"), ("fine", "85"))


def test_a_transmission_that_fails_leaves_the_link_suspect(source_rig) -> None:
    source, _, link = source_rig()
    source.prepare()
    link.failures.append(("write", LinkLost("gone", address=link.address)))
    with pytest.raises(LinkLost, match="gone") as caught:
        source.set_level(0.25)
    assert caught.value.command == LEVEL
    with pytest.raises(LinkLost, match="suspect since"):
        source.set_level(0.25)


def test_switching_off_after_trouble_is_a_message_of_its_own(source_rig) -> None:
    source, _, link = source_rig()
    source.prepare()
    link.written.clear()
    source.safe_off()
    assert link.written[0] == "OUTP OFF\n"


def test_an_adapter_is_asked_for_its_errors_with_the_command(adapter_rig) -> None:
    adapter, instrument, link = adapter_rig
    adapter.arm()
    assert link.written[-1] == "ARM\nSYST:ERR?\n"
    adapter.fetch()
    assert link.written[-1] == "FETCH?\nSYST:ERR?\n"
    instrument.overrides["ARM"] = b"ERR\n"
    instrument.errors.append('-221,"Settings conflict"')
    with pytest.raises(InstrumentReported, match="-221, Settings conflict"):
        adapter.arm()
    instrument.overrides["ARM"] = b"WHAT\n"
    with pytest.raises(BadReply, match="got 'WHAT'; allowed: OK"):
        adapter.arm()


def test_an_adapter_that_keeps_silent_is_suspect(adapter_rig) -> None:
    adapter, instrument, _ = adapter_rig
    instrument.overrides["SYST:ERR?"] = b""
    with pytest.raises(ReadTimeout):
        adapter.arm()
    with pytest.raises(LinkLost, match="suspect since 'ARM' failed"):
        adapter.arm()
