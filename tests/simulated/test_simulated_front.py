"""When an answer leaves: from the arrival of its message, whatever the simulation takes to compute."""

from __future__ import annotations

import pytest

from harness.simulated.faults.link_fault import Line
from harness.simulated.front import Desk


@pytest.fixture
def front(desk):
    instrument = desk.world.instruments["device"]
    return Desk(instrument, line=Line(role="device", instrument=instrument, timeout_s=1.0), clock=desk.clock)


def test_time_spent_before_a_message_is_carried_out_is_not_the_instruments(desk, front):
    latency_s = front.instrument.latency_s
    answers = []
    front.take(b"INP1:FINE 70", answers.append, "me")
    front.take(b"*OPC?;:INP1:FINE?", answers.append, "me")
    arrived_s = desk.clock.now_s()
    desk.clock.sleep(0.0004)  # the simulation was busy elsewhere
    free_s = front.work(desk.clock.now_s())
    # The word settles 1 ms (bench file) from its arrival, then the answer takes its latency.
    assert front.instrument.free_at_s == pytest.approx(arrived_s + 0.001)
    assert free_s == pytest.approx(arrived_s + 0.001 + latency_s)
    assert front.work(free_s - 1e-9) == free_s
    assert not answers
    assert front.work(free_s) is None
    assert answers == [b"1;70\n"]


def test_a_message_behind_a_busy_one_begins_when_that_is_done(desk, front):
    answers = []
    front.take(b"*OPC?", answers.append, "me")
    front.take(b"INP1:FINE 70;*OPC?", answers.append, "me")
    front.take(b"*OPC?", answers.append, "me")
    desk.clock.sleep(0.5)
    while (moment := front.work(desk.clock.now_s())) is not None:
        desk.clock.sleep(max(moment - desk.clock.now_s(), 0.0))
    assert answers == [b"1\n", b"1\n", b"1\n"]
    assert front.instrument.free_at_s == pytest.approx(0.001)
