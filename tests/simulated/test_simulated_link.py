"""The link in memory and the clock that jumps."""

from __future__ import annotations

import datetime as dt

import pytest

from harness.bench import Clock, Link
from harness.errors import LinkClosed, LinkLost, ReadTimeout, UsageError
from harness.simulated import JumpClock


def test_it_is_a_link_and_the_clock_is_a_clock(desk):
    assert isinstance(desk.links["device"], Link)
    assert isinstance(desk.clock, Clock)
    assert desk.links["device"].address == "in-process device"


def test_the_clock_jumps():
    clock = JumpClock(epoch=dt.datetime(2026, 1, 1, tzinfo=dt.UTC))
    clock.sleep(90.5)
    clock.sleep(-1.0)
    assert clock.now_s() == 90.5
    assert clock.utc() == "2026-01-01T00:01:30.500000+00:00"
    now = dt.datetime.fromisoformat(JumpClock().utc())
    assert abs((dt.datetime.now(dt.UTC) - now).total_seconds()) < 60


def test_an_answer_takes_its_latency(desk):
    desk.ask("source", "*IDN?")
    assert desk.clock.now_s() == pytest.approx(0.0002)


def test_no_answer_is_a_timeout_of_the_slot(desk):
    with pytest.raises(ReadTimeout) as caught:
        desk.ask("source", "FOO?")
    assert "in-process source: no answer within 5 s: wanted a line, got 0 bytes; clear the link before use" in str(
        caught.value
    )
    assert desk.clock.now_s() == pytest.approx(5.0)


def test_bytes_may_come_in_pieces(desk):
    link = desk.links["source"]
    link.write(b"*ID")
    link.write(b"N?\n*OPC?\n")
    assert link.read_exactly(7) == b"Machair"
    assert link.read_line() == b",SG-1,MA000001,1.0"
    assert link.read_line() == b"1"


def test_a_short_answer_is_lost_with_the_timeout(desk):
    link = desk.links["source"]
    link.write(b"*OPC?\n")
    with pytest.raises(ReadTimeout, match="wanted 9 bytes, got 2 bytes"):
        link.read_exactly(9)
    assert desk.ask("source", "*IDN?").startswith("Machair")


def test_silent_answers_come_late_and_shift_until_cleared(desk):
    link = desk.links["source"]
    link.misbehave("silent", after=1)
    assert desk.ask("source", "FREQ?") == "1000"
    with pytest.raises(ReadTimeout):
        desk.ask("source", "VOLT?")
    assert desk.ask("source", "*IDN?") == "0.1"
    assert desk.ask("source", "FREQ?").startswith("Machair")
    link.clear()
    assert desk.ask("source", "FREQ?") == "1000"


def test_truncated_answers_lack_their_second_half(desk):
    desk.tell("device", "INIT")
    link = desk.links["device"]
    link.misbehave("truncated")
    with pytest.raises(ReadTimeout, match="wanted 8000 bytes, got 399"):
        desk.block("device", "FETC:CODE?")
    assert len(desk.block("device", "FETC:CODE?")) == 8000


def test_a_closed_link_is_lost_until_reopened(desk):
    link = desk.links["device"]
    link.misbehave("closed")
    desk.tell("device", "*IDN?")
    for use in (link.read_line, link.clear, lambda: link.write(b"*IDN?\n"), lambda: link.read_exactly(1)):
        with pytest.raises(LinkLost, match="the peer has closed the link; reopen it"):
            use()
    link.reopen()
    assert desk.ask("device", "*IDN?").startswith("Skerry")


def test_our_own_close_is_told_apart(desk):
    link = desk.links["device"]
    link.close()
    link.close()
    for use in (link.read_line, link.clear, lambda: link.write(b"*IDN?\n"), lambda: link.read_exactly(1)):
        with pytest.raises(LinkClosed, match="closed by us; reopen it before use"):
            use()
    link.reopen()
    assert desk.ask("device", "*IDN?").startswith("Skerry")


def test_unknown_misbehaviour(desk):
    with pytest.raises(UsageError, match="got 'rude'; allowed: silent, closed, truncated"):
        desk.links["device"].misbehave("rude")


def test_two_links_see_the_same_instrument(desk):
    other = desk.world.link("source")
    desk.tell("source", "OUTP ON")
    other.write(b"OUTP?\n")
    assert other.read_line() == b"1"
    other.write(b"OUTP OFF\n")
    assert desk.ask("source", "OUTP?") == "0"


def test_a_role_the_bench_lacks(make_desk):
    desk = make_desk(
        change=lambda text: text.replace("[adapter]", "[unused]").split("[unused]")[0] + text[text.index("[wiring]") :]
    )
    with pytest.raises(
        UsageError, match=r"simulated bench 'simulated bench': got role 'adapter'; it has source, device"
    ):
        desk.world.link("adapter")
    with pytest.raises(UsageError, match="got role 'meter'"):
        desk.world.link("meter")
