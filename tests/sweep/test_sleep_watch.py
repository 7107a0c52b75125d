"""A computer that sleeps: the reading is taken again, with everything set anew; a clock that was set is noted."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from harness.diagnosis.validity import POINTS_TO
from harness.errors import HostAsleep
from harness.simulated import JumpClock
from harness.sweep import AnchorPlan
from harness.sweep.sleep_watch import SleepWatch
from harness.values import Purpose, ReadingStatus
from tests.sweep.spied_bench import amplitude_code, rungs_at

RUNGS = tuple(rungs_at((1, 3, 0), (1, 3, 10), (1, 8, 20), (2, 8, 20)))
VALID, RETRIED = ReadingStatus.VALID, ReadingStatus.RETRIED


def test_the_reading_in_which_the_computer_slept_is_taken_again_from_source_off(rig: Any) -> None:
    # Seven records are those of the self-check, one the first rung's.
    bench = rig("host-asleep=300@9", rungs=RUNGS)
    bench.sweep()
    assert bench.statuses == [VALID, RETRIED, VALID, VALID, VALID]
    slept, again = bench.readings[1:3]
    assert slept.reason.startswith("host-asleep: the wall clock has gained 300 s on the monotonic one since ")
    assert "allowed is 5 s" in slept.reason
    assert (slept.setting, slept.attempt) == (again.setting, again.attempt - 1)
    assert amplitude_code(again) > 0.0
    assert bench.verbs.count("source.safe_off") == 2
    assert bench.verbs.count("device.prepare") == 2
    assert POINTS_TO[slept.reason.split(":", 1)[0]][0] == "host-asleep"


def test_after_a_sleep_the_anchors_are_read_at_once(rig: Any) -> None:
    bench = rig("host-asleep=300@9", rungs=RUNGS)
    bench.sweep(anchors=AnchorPlan(rungs=RUNGS[1:2], every_rungs=100, every_s=None, moved_percent=1.0))
    anchors = [reading.purpose is Purpose.ANCHOR for reading in bench.readings]
    # At first; then behind the rung that was taken again.
    assert anchors == [True, False, False, True, False, False, False]
    assert bench.statuses.count(RETRIED) == 1


def test_a_sleep_is_the_reason_when_the_link_is_gone_as_well(rig: Any) -> None:
    bench = rig(rungs=RUNGS)

    def after(done: int, reading: Any) -> None:
        if done == 1:
            bench.bench.clock.step_wall(60.0)
            bench.link("device").misbehave("silent", 0)

    bench.after = after
    bench.sweep()
    assert bench.statuses == [VALID, RETRIED, VALID, VALID, VALID]
    assert bench.readings[1].reason.startswith("host-asleep: the wall clock has gained 60 s")


def test_a_clock_that_is_set_back_costs_no_reading(rig: Any) -> None:
    bench = rig("clock-stepped=-3600@9", rungs=RUNGS)
    bench.sweep()
    assert bench.statuses == [VALID] * 4
    assert bench.notebook.texts("clock") == ["the wall clock was set back by 3600 s; the order of readings is kept"]


def test_what_a_time_server_corrects_is_borne() -> None:
    clock, notes = JumpClock(epoch=dt.datetime(2026, 1, 1, 12, tzinfo=dt.UTC)), []
    watch = SleepWatch(clock, lambda kind, text: notes.append((kind, text)))
    for step_s in (0.0, 5.0, -5.0, 4.0, 4.0):
        clock.sleep(1000.0)
        clock.step_wall(step_s)
        watch.look()
    assert notes == []
    clock.step_wall(5.1)
    with pytest.raises(HostAsleep, match=r"gained 5\.1 s on the monotonic one since 13:23:28 UTC, .* computer slept"):
        watch.look()
    # It has been told once.
    watch.look()
