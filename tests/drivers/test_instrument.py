from __future__ import annotations

import pytest

from harness.errors import (
    BadReply,
    InstrumentReported,
    LinkClosed,
    LinkLost,
    ReadTimeout,
    WrongInstrument,
)


def late(link):
    return ("read_line", ReadTimeout("late", address=link.address))


def test_identify(source_rig):
    driver, _, link = source_rig()
    identity = driver.identify()
    assert str(identity) == "Machair SG-1, serial MA000123, firmware 1.0"
    assert link.sent == ["*IDN?"]


@pytest.mark.parametrize("identity", ["Machair,SG-1,MA999,1.0", "Machair,SG-2,MA000123,1.0", "Other,SG-1,MA000123,1.0"])
def test_another_identity_is_the_wrong_instrument(source_rig, identity):
    driver, instrument, _ = source_rig()
    instrument.identity = identity
    wanted = "answers; the bench file wants Machair SG-1, serial MA000123: check address and cabling"
    with pytest.raises(WrongInstrument, match=wanted) as caught:
        driver.identify()
    assert caught.value.command == "*IDN?"


def test_without_a_serial_any_unit_of_the_model_is_right(source_rig):
    driver, instrument, _ = source_rig(serial="")
    instrument.identity = "Machair,SG-1,whatever,2, beta"
    assert driver.identify().firmware == "2, beta"


def test_an_identity_of_three_fields_is_a_bad_reply(source_rig):
    driver, instrument, _ = source_rig()
    instrument.identity = "Machair,SG-1,MA000123"
    with pytest.raises(BadReply, match="allowed: maker,model,serial,firmware") as caught:
        driver.identify()
    assert "Machair SG-1 at memory::1" in str(caught.value)


def test_a_reply_outside_ascii_is_a_bad_reply(source_rig):
    driver, instrument, _ = source_rig()
    instrument.overrides["*IDN?"] = b"\xff\xfe\n"
    with pytest.raises(BadReply, match="allowed: ASCII text"):
        driver.identify()


def test_the_error_queue_is_drained_oldest_first(source_rig):
    driver, instrument, _ = source_rig()
    instrument.errors = ['-113,"Undefined header"', "-222,Data out of range"]
    assert driver.drain_errors() == ("-113, Undefined header", "-222, Data out of range")
    assert driver.drain_errors() == ()


def test_a_queue_entry_without_code_is_a_bad_reply(source_rig):
    driver, instrument, _ = source_rig()
    instrument.errors = ["oops"]
    with pytest.raises(BadReply, match="got 'oops'; allowed: code,\"text\""):
        driver.drain_errors()


def test_a_queue_that_never_empties_is_a_bad_reply(source_rig):
    driver, instrument, link = source_rig()
    instrument.overrides["SYST:ERR?"] = b'-350,"Queue overflow"\n'
    with pytest.raises(BadReply, match=r"51 entries, the last .*-350.*allowed: at most 50"):
        driver.drain_errors()
    assert len(link.sent) == 51


def test_a_rejected_command_is_reported_with_all_codes(source_rig):
    driver, instrument, _ = source_rig()
    instrument.errors = ['-222,"Data out of range"', '-113,"Undefined header"']
    with pytest.raises(InstrumentReported, match="-222, Data out of range; -113, Undefined header") as caught:
        driver.set_frequency(2125.0)
    assert caught.value.codes == (-222, -113)
    assert caught.value.command == "FREQ 2125"


def test_operation_complete_must_say_one(source_rig):
    driver, instrument, _ = source_rig()
    instrument.overrides["*OPC?"] = b"0\n"
    with pytest.raises(BadReply, match="got '0'; allowed: 1"):
        driver.set_frequency(2125.0)


def test_carriage_returns_are_sent_when_asked_and_dropped_when_read(profile, slot, pushed_clock, scripted_link):
    from harness.drivers.instrument import InstrumentDriver

    raw = []
    link = scripted_link(lambda message: b"Machair,SG-1,1,1\r\n")
    link.write = lambda message: (raw.append(message), link.pending.extend(b"Machair,SG-1,1,1\r\n"))
    driver = InstrumentDriver(link, profile("source"), slot(termination="\r\n"), pushed_clock)
    assert driver.identify().firmware == "1"
    assert raw == [b"*IDN?\r\n"]


# ---- trap 1: after a time-out the late answer would be taken for the next one


def test_after_a_timeout_the_link_is_refused_until_resynchronised(source_rig):
    driver, _, link = source_rig()
    link.failures = [late(link)]
    with pytest.raises(ReadTimeout) as caught:
        driver.identify()
    assert (caught.value.instrument, caught.value.command) == ("Machair SG-1", "*IDN?")
    with pytest.raises(LinkLost, match=r"suspect since '\*IDN\?' failed: resynchronise first"):
        driver.drain_errors()
    driver.resynchronise()
    assert driver.drain_errors() == ()


def test_a_late_answer_is_never_taken_for_the_next(source_rig):
    driver, _, link = source_rig()
    link.failures = [late(link)]  # the answer is left in the pipe
    with pytest.raises(ReadTimeout):
        driver.set_frequency(2125.0)
    assert link.pending
    driver.resynchronise()
    assert not link.pending
    assert driver.set_frequency(2126.0) == 2126.0


def test_ctrl_c_in_the_middle_of_an_exchange_leaves_the_link_suspect(source_rig):
    driver, _, link = source_rig()
    link.failures = [("read_line", KeyboardInterrupt())]
    with pytest.raises(KeyboardInterrupt):
        driver.identify()
    with pytest.raises(LinkLost, match="resynchronise first"):
        driver.identify()


def test_resynchronise_clears_and_stays_on_the_connection(source_rig, pushed_clock):
    driver, _, link = source_rig()
    driver.resynchronise()
    assert link.calls[0] == "clear"
    assert "reopen" not in link.calls
    assert pushed_clock.slept_s == []


def test_resynchronise_reopens_when_clear_fails(source_rig):
    driver, _, link = source_rig()
    link.failures = [("clear", LinkLost("gone"))]
    driver.resynchronise()
    assert link.calls[:2] == ["clear", "reopen"]


def test_resynchronise_tries_again_when_an_answer_is_shifted(source_rig, pushed_clock):
    driver, instrument, link = source_rig()
    shifted = iter([b"1\n"])
    original = link.clear
    link.clear = lambda: (original(), link.pending.extend(next(shifted, b"")))
    driver.resynchronise()
    assert "reopen" in link.calls
    assert pushed_clock.slept_s == [0.2]
    assert instrument.errors == []


def test_three_tries_then_link_lost(source_rig, pushed_clock):
    driver, instrument, link = source_rig()
    instrument.overrides["*IDN?"] = b""
    with pytest.raises(LinkLost, match=r"does not answer soundly after 3 tries; last: .*Check power and cables"):
        driver.resynchronise()
    assert link.sent == ["*IDN?"] * 3
    assert pushed_clock.slept_s == [0.2, 1.0]
    with pytest.raises(LinkLost, match="resynchronise first"):
        driver.identify()


def test_another_instrument_after_reopen_is_named_as_such(source_rig):
    driver, instrument, _ = source_rig()
    instrument.identity = "Machair,SG-1,MA000999,1.0"
    with pytest.raises(WrongInstrument, match=r"serial MA000999.*answers"):
        driver.resynchronise()


def test_a_closed_link_says_so(source_rig):
    driver, _, _ = source_rig()
    driver.close()
    driver.close()
    with pytest.raises(LinkClosed):
        driver.identify()
    with pytest.raises(LinkClosed):
        driver.resynchronise()
