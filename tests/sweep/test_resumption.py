"""What is left of an interrupted ladder, by key; and whether a setting read again has moved."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from harness.sweep import Walk, resumption
from harness.sweep.recheck import compare
from harness.values import Direction, Purpose, Reading, ReadingStatus, Rung, Waveform
from tests.sweep.spied_bench import PLAN, SETUP, Rig, error_percent, rungs_at

HZ = SETUP.device.acquisition.frequency_hz
RUNGS = tuple(rung for rung in PLAN.rungs if rung.setting.channel == 1 and rung.setting.coarse == 3)
"""Five settings, up and down."""


def reading(rung: Rung, index: int, **changes: Any) -> Reading:
    made = Reading(
        index=index, setting=rung.setting, direction=rung.direction, attempt=0, status=ReadingStatus.VALID, reason="",
        drive_set_vpk=rung.drive_vpk, drive_read_vpk=rung.drive_vpk, frequency_hz=HZ, waveform=None, capture=None,
        capture_reason="", read_back=(), messages=(), started_utc="", started_s=0.0, duration_s=0.0,
    )  # fmt: skip
    return dataclasses.replace(made, **changes)


def done(count: int, **changes: Any) -> list[Reading]:
    return [reading(rung, index, **changes) for index, rung in enumerate(RUNGS[:count])]


def left(readings: list[Reading], rungs: tuple[Rung, ...] = RUNGS) -> tuple[Rung, ...]:
    return resumption(rungs, readings, frequency_hz=HZ).left


@pytest.mark.parametrize("count", range(len(RUNGS) + 1))
def test_what_has_a_final_reading_is_done_and_the_rest_keeps_its_order(count: int) -> None:
    found = resumption(RUNGS, done(count), frequency_hz=HZ)
    assert found.left == RUNGS[count:]
    assert found.first_index == count


def test_an_attempt_that_was_to_be_followed_by_another_is_no_final_one() -> None:
    for status in (ReadingStatus.RELEVELLED, ReadingStatus.RETRIED):
        readings = [*done(2), reading(RUNGS[2], 2, status=status, reason="clipped")]
        found = resumption(RUNGS, readings, frequency_hz=HZ)
        assert found.left == RUNGS[2:]
        assert found.first_index == 3


def test_what_had_no_bench_is_taken_again_what_was_bad_by_itself_is_not() -> None:
    gone = [reading(RUNGS[2], 2, status=ReadingStatus.INVALID, reason="LinkLost: gone")]
    assert left([*done(2), *gone]) == RUNGS[2:]
    bad = [reading(RUNGS[2], 2, status=ReadingStatus.INVALID, reason="stale-record: the counter stood still")]
    assert left([*done(2), *bad]) == RUNGS[3:]
    unmeasurable = [reading(RUNGS[2], 2, status=ReadingStatus.UNMEASURABLE, reason="no level fits")]
    assert left([*done(2), *unmeasurable]) == RUNGS[3:]


def test_up_and_down_are_two_readings() -> None:
    ways = {rung.direction for rung in left(done(5))}
    assert ways == {Direction.DOWN}


def test_an_anchor_is_no_reading_of_the_ladder() -> None:
    again = reading(RUNGS[5], 5, purpose=Purpose.ANCHOR)
    assert left([*done(5), again]) == RUNGS[5:]


def test_the_anchor_and_the_last_three_settings_are_read_again() -> None:
    found = resumption(RUNGS, done(5), frequency_hz=HZ)
    assert [r.index for r in found.before] == [0, 2, 3, 4]
    # On the way down the last settings are those of the way up: each once, by its newest reading.
    assert [r.index for r in resumption(RUNGS, done(7), frequency_hz=HZ).before] == [0, 2, 5, 6]
    assert [r.index for r in resumption(RUNGS, done(2), frequency_hz=HZ).before] == [0, 1]
    assert resumption(RUNGS, [], frequency_hz=HZ).before == ()


def test_the_newest_anchor_stands_for_the_older_ones() -> None:
    anchor = reading(RUNGS[0], 5, purpose=Purpose.ANCHOR)
    found = resumption(RUNGS, [*done(5), anchor], frequency_hz=HZ)
    assert [r.index for r in found.before] == [5, 2, 3, 4]


@pytest.mark.parametrize("purpose", [Purpose.TWO_LEVEL, Purpose.EXACT])
def test_two_levels_of_one_setting_are_told_apart_by_their_level(purpose: Purpose) -> None:
    low, high = (dataclasses.replace(RUNGS[0], purpose=purpose, drive_vpk=level_vpk) for level_vpk in (0.4, 0.8))
    taken = reading(high, 0, purpose=purpose)
    assert left([taken], (low, high)) == (low,)


def test_a_second_frequency_is_told_from_the_first() -> None:
    first = dataclasses.replace(RUNGS[0], purpose=Purpose.SECOND_FREQUENCY)
    second = dataclasses.replace(first, frequency_hz=9.0 * HZ)
    taken = reading(first, 0, purpose=Purpose.SECOND_FREQUENCY, frequency_hz=HZ)
    assert left([taken], (first, second)) == (second,)


# ---- read again


def sine(amplitude_code: float, noise_code: float, seed: int) -> Waveform:
    acquisition = SETUP.device.acquisition
    t_s = np.arange(acquisition.samples) / acquisition.sample_rate_hz
    noise = np.random.default_rng(seed).normal(0.0, noise_code, t_s.size)
    codes = np.round(amplitude_code * np.sin(2 * np.pi * HZ * t_s) + noise).astype(np.int16)
    return Waveform(codes=codes, sample_rate_hz=acquisition.sample_rate_hz, scale_v_per_code=1e-3, sequence=1)


def test_the_allowance_is_three_standard_uncertainties_of_the_difference() -> None:
    before = reading(RUNGS[0], 0, waveform=sine(1000.0, 5.0, 1))
    again = reading(RUNGS[0], 9, waveform=sine(1000.0, 5.0, 2), purpose=Purpose.ANCHOR)
    found = compare(before, again, SETUP.device)
    # Closed form: σ·√(2/N)/A of each record by noise (rounding included), 0.02 % repeatability from the device file.
    noise_percent = 100.0 * math.hypot(5.0, 1 / math.sqrt(12.0)) * math.sqrt(2.0 / 4000.0) / 1000.0
    assert found.allowed_percent == pytest.approx(3.0 * math.sqrt(2.0) * math.hypot(noise_percent, 0.02), rel=0.03)
    assert not found.moved


def test_a_gain_that_moved_is_seen_and_half_of_the_allowance_is_not() -> None:
    before = reading(RUNGS[0], 0, waveform=sine(1000.0, 0.5, 1))
    for percent, moved in ((0.03, False), (0.3, True), (-0.3, True)):
        again = reading(RUNGS[0], 9, waveform=sine(1000.0 * math.exp(percent / 100.0), 0.5, 2))
        found = compare(before, again, SETUP.device)
        assert found.moved is moved, percent
        assert found.difference_percent == pytest.approx(percent, abs=0.02)


def test_another_level_is_no_other_gain() -> None:
    before = reading(RUNGS[0], 0, waveform=sine(1000.0, 0.5, 1), drive_read_vpk=1.0)
    again = reading(RUNGS[0], 9, waveform=sine(500.0, 0.5, 2), drive_read_vpk=0.5)
    assert not compare(before, again, SETUP.device).moved


def test_what_cannot_be_compared_has_moved() -> None:
    before = reading(RUNGS[0], 0, waveform=sine(1000.0, 0.5, 1))
    lost = reading(RUNGS[0], 9, status=ReadingStatus.INVALID, reason="LinkLost: gone")
    found = compare(before, lost, SETUP.device)
    assert found.moved
    assert found.text == "not comparable: LinkLost: gone"
    assert compare(before, reading(RUNGS[0], 9, waveform=sine(0.0, 0.0, 1)), SETUP.device).moved


# ---- on a bench


def test_a_walk_that_goes_on_numbers_its_readings_and_compares_first(rig: Callable[..., Rig]) -> None:
    rungs = tuple(rungs_at((1, 3, 0), (1, 3, 10), (1, 8, 20), (2, 8, 20)))
    first = rig(rungs=rungs)
    first.sweep(rungs=rungs[:3])
    second = rig(rungs=rungs)
    todo = resumption(rungs, first.readings, frequency_hz=HZ)
    walk = Walk(second.bench, second.plan, second.notebook, first_index=todo.first_index)
    assert walk.recheck(todo.before) == 0
    assert not second.output_is_on()
    walk.portion(todo.left, progress=lambda done, reading: None)
    assert [r.index for r in second.readings] == [3, 4, 5, 6]
    assert [r.purpose for r in second.readings] == [Purpose.ANCHOR] * 3 + [Purpose.LADDER]
    assert [r.setting for r in second.readings] == [*[rung.setting for rung in rungs[:3]], rungs[3].setting]
    assert len(second.notebook.texts("anchor")) == 3
    assert second.notebook.texts("discontinuity") == []
    # Closed form, no fit of ours: the gain of the new reading is the law's within 1 %.
    assert abs(error_percent(second.readings[-1], rungs[3])) < 1.0


def test_a_unit_that_moved_meanwhile_is_a_discontinuity_and_the_walk_goes_on(rig: Callable[..., Rig]) -> None:
    rungs = tuple(rungs_at((1, 3, 0), (1, 3, 10), (1, 8, 20), (2, 8, 20)))
    first = rig(rungs=rungs)
    first.sweep(rungs=rungs[:3])
    second = rig("pregain-ratio-wrong:1=2", rungs=rungs)
    todo = resumption(rungs, first.readings, frequency_hz=HZ)
    walk = Walk(second.bench, second.plan, second.notebook, first_index=todo.first_index)
    assert walk.recheck(todo.before) == len(second.notebook.texts("discontinuity")) > 0
    assert "% since reading" in second.notebook.texts("discontinuity")[0]
    walk.portion(todo.left, progress=lambda done, reading: None)
    assert second.readings[-1].status is ReadingStatus.VALID


def test_a_stop_while_comparing_leaves_with_the_source_off(rig: Callable[..., Rig]) -> None:
    rungs = tuple(rungs_at((1, 3, 0), (1, 3, 10)))
    there = rig(rungs=rungs)
    there.sweep(rungs=rungs[:1])
    walk = Walk(there.bench, there.plan, there.notebook, first_index=1)
    with pytest.raises(KeyboardInterrupt):
        walk.recheck(there.readings[:1], stop=lambda: True)
    assert not there.output_is_on()
