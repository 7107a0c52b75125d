"""A sound reading is made durable and announced while the next record is taken; nothing else may change by that."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest

from harness.errors import BenchError, StopCondition, StoreUnavailable
from harness.values import Reading, ReadingStatus
from tests.sweep.spied_bench import rungs_at
from tests.sweep.test_sweep_order import check_safe

VALID, RETRIED = ReadingStatus.VALID, ReadingStatus.RETRIED


def same(one: Reading, other: Reading) -> bool:
    """All fields alike but the wall clock, arrays included."""
    for field in dataclasses.fields(Reading):
        if field.name == "started_utc":
            continue
        left, right = getattr(one, field.name), getattr(other, field.name)
        if field.name == "waveform":
            if not np.array_equal(left.codes, right.codes):
                return False
        elif field.name == "capture":
            if not (np.array_equal(left.times_ns, right.times_ns) and np.array_equal(left.levels, right.levels)):
                return False
        elif left != right:
            return False
    return True


@pytest.mark.parametrize("together", [False, True])
def test_the_record_is_the_same_to_the_last_bit(rig: Any, together: bool) -> None:
    before, beside = rig(together=together), rig(together=together)
    before.sweep(overlap=False)
    beside.sweep(overlap=True)
    assert beside.statuses == [VALID] * 4
    assert all(same(one, other) for one, other in zip(before.readings, beside.readings, strict=True))
    assert beside.verbs == before.verbs
    assert beside.notebook.notes == before.notebook.notes
    check_safe(beside)


def test_a_reading_is_durable_before_it_is_announced_and_before_the_next_is_fetched(rig: Any) -> None:
    bench = rig()
    durable: list[tuple[int, int, int]] = []
    bench.after = lambda done, reading: durable.append((done, len(bench.readings), bench.verbs.count("device.acquire")))
    bench.sweep(overlap=True)
    checks = durable[0][2] - 2  # what the self-check takes
    assert bench.verbs.count("device.acquire") == checks + 4
    # The record of the next rung is under way, the last one is announced when the portion ends.
    assert durable == [(1, 1, checks + 2), (2, 2, checks + 3), (3, 3, checks + 4), (4, 4, checks + 4)]


def test_a_full_disk_stops_the_sweep_in_the_next_record_with_the_source_off(rig: Any) -> None:
    bench = rig()
    bench.notebook.full_at = 1
    with pytest.raises(StoreUnavailable, match="the disk is full"):
        bench.sweep(overlap=True)
    assert bench.statuses == [VALID]
    assert bench.verbs[-1] == "source.safe_off"
    assert not bench.output_is_on()


def test_an_interrupt_keeps_what_has_been_measured(rig: Any) -> None:
    bench = rig()
    told: list[int] = []
    bench.after = lambda done, reading: told.append(done)
    asked = iter((False, False, True))
    bench.stop = lambda: next(asked)
    with pytest.raises(KeyboardInterrupt):
        bench.sweep(overlap=True)
    assert bench.statuses == [VALID, VALID]
    assert told == [1, 2]
    assert not bench.output_is_on()


def test_what_cannot_be_kept_after_another_error_is_said_with_it(rig: Any) -> None:
    bench = rig()
    bench.notebook.full_at = 0
    asked = iter((False, True))
    bench.stop = lambda: next(asked)
    bench.notebook.note = lambda kind, text: None
    with pytest.raises(KeyboardInterrupt) as caught:
        bench.sweep(overlap=True)
    assert caught.value.__notes__ == ["the last reading: StoreUnavailable: the disk is full"]


@pytest.mark.parametrize("error", [StopCondition("too hot", scope="unit"), BenchError("the probe is silent")])
def test_trouble_of_who_looks_on_is_not_taken_for_trouble_of_the_next_reading(rig: Any, error: Exception) -> None:
    bench = rig()

    def after(done: int, reading: Reading) -> None:
        if done == 2:
            raise error

    bench.after = after
    with pytest.raises(type(error)) as caught:
        bench.sweep(overlap=True)
    assert caught.value is error
    assert bench.statuses == [VALID, VALID]
    assert not bench.output_is_on()
    # The device had answered, so its link is sound and the next sweep needs no recovery.
    bench.after = lambda done, reading: None
    bench.notebook.readings.clear()
    bench.sweep(overlap=True)
    assert bench.statuses == [VALID] * 4
    assert bench.notebook.texts("retry") == []


def test_a_failed_reading_comes_behind_the_one_that_waited(rig: Any) -> None:
    bench = rig()

    def before(call: Any) -> None:
        if call.verb == "select" and call.arguments[0].fine == 10 and not bench.readings:
            bench.link("device").misbehave("silent", 0)

    bench.before = before
    bench.sweep(overlap=True)
    assert bench.statuses == [VALID, RETRIED, VALID, VALID, VALID]
    assert [r.index for r in bench.readings] == list(range(5))
    assert "the adapter was not asked" in bench.readings[1].capture_reason or bench.readings[1].capture is None


def test_a_reading_costs_one_answer_for_level_setting_and_record_each(rig: Any) -> None:
    # Latency 0.2 ms; the source is done after 1 ms, a word after 1 ms, a record after 4000 samples at 500 kHz.
    bench = rig(rungs=rungs_at((1, 3, 0), (1, 3, 10), (1, 3, 20)), together=True)
    bench.sweep(overlap=True)
    took_s = [reading.duration_s for reading in bench.readings[1:]]
    assert took_s == pytest.approx([0.0012 + 0.0012 + 0.0082] * 2, abs=1e-9)


def test_a_relay_costs_the_source_off_and_on_beside_its_own_time(rig: Any) -> None:
    # The level to come is set while the relay moves.
    bench = rig(rungs=rungs_at((1, 3, 20), (1, 8, 20)), together=True)
    bench.sweep(overlap=True)
    assert bench.readings[1].duration_s == pytest.approx(0.0012 + 0.0102 + 0.0012 + 0.0082, abs=1e-9)
