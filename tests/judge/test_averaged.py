"""Several records of a setting judged as one reading: the mean of their gains, with the uncertainty of a mean."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest

from harness.app.run import judge_of
from harness.judge.measured import Measured
from harness.values import Kept, Reading, ReadingStatus, RunResult
from tests.judge.run_builder import reading_of, setup_at

VALID, AVERAGED, RETRIED = ReadingStatus.VALID, ReadingStatus.AVERAGED, ReadingStatus.RETRIED
SETUP = setup_at((1, 3, 0), ways="up")
RUNG = SETUP.rungs[0]


def record(index: int, percent: float, status: ReadingStatus = AVERAGED, **changes: Any) -> Reading:
    """A record whose gain is off by so much, 100·ln."""
    rung = dataclasses.replace(RUNG, index=index)
    return reading_of(rung, gain_ratio=math.exp(percent / 100.0), status=status, **changes)


def judged(*readings: Reading) -> RunResult:
    judge = judge_of(SETUP)
    for reading in readings:
        judge.take(reading)
    return judge.result()


def kept_of(numbers: Measured) -> Kept:
    return Kept(
        rule="none", at_utc="2026-11-30T00:00:00Z", outcome="PASS", limits_sha256="", reason=numbers.reason,
        fit=numbers.fit, quality=numbers.quality, words=(), scale_v_per_code=numbers.scale_v_per_code,
    )  # fmt: skip


def residual(*readings: Reading) -> float:
    return judged(*readings).settings[0].residual_percent


def test_the_gain_is_the_mean_of_all_records() -> None:
    whole = (record(0, 1.0), record(1, 2.0), record(2, 3.0, VALID, records=3, stopped="certain"))
    assert residual(*whole) == pytest.approx(2.0, abs=0.01)
    assert judged(*whole).settings[0].attempts == 1


def test_one_near_a_limit_comes_out_as_the_mean_does() -> None:
    # Limits of ±2 %, guard band 0.44 %: the last record alone would be INCONCLUSIVE.
    last = record(3, 1.8, VALID, records=4)
    alone = dataclasses.replace(last, records=1)
    assert judged(alone).settings[0].outcome == "INCONCLUSIVE"
    assert judged(record(0, 1.2), record(1, 1.3), record(2, 1.3), last).settings[0].outcome == "PASS"


def test_what_was_taken_before_a_failure_does_not_count() -> None:
    failed = record(1, 0.0, RETRIED, reason="ReadTimeout: late")
    assert residual(record(0, 9.0), failed, record(2, 1.0), record(3, 2.0, VALID, records=2)) == pytest.approx(
        1.5, abs=0.01
    )
    # As many as the final reading says, even where a resumed run has left others before them.
    assert residual(record(0, 9.0), record(1, 1.0), record(2, 2.0, VALID, records=2)) == pytest.approx(1.5, abs=0.01)
    assert residual(record(0, 9.0), record(1, 1.0, VALID)) == pytest.approx(1.0, abs=0.01)


def test_records_of_another_way_or_setting_do_not_count() -> None:
    other = dataclasses.replace(record(0, 9.0), setting=dataclasses.replace(RUNG.setting, fine=10))
    setup = setup_at((1, 3, 0), (1, 3, 10), ways="up")
    judge = judge_of(setup)
    for reading in (other, record(1, 1.0, VALID, records=2)):
        judge.take(reading)
    assert judge.result().settings[0].residual_percent == pytest.approx(1.0, abs=0.01)


def test_noise_counts_as_that_of_a_mean() -> None:
    judge = judge_of(SETUP)
    for reading in (*(record(index, 0.0) for index in range(3)), record(3, 0.0, VALID, records=4)):
        judge.take(reading)
    found = judge._taken._final[RUNG.setting][0].fit
    assert found.samples == 4 * SETUP.device.acquisition.samples
    # What a job keeps of raw data that it drops is what the record itself gave.
    assert judge.measured()[3].fit.samples == SETUP.device.acquisition.samples
    assert judge.under(judge._limits).measured()[3].fit.samples == SETUP.device.acquisition.samples


def test_records_whose_raw_data_were_dropped_are_averaged_all_the_same() -> None:
    taken = (record(0, 1.0), record(1, 2.0), record(2, 3.0, VALID, records=3))
    judge = judge_of(SETUP)
    for reading in taken:
        judge.take(reading)
    said = judge.measured()
    dropped = [
        dataclasses.replace(reading, waveform=None, capture=None, kept=kept_of(said[reading.index]))
        for reading in taken
    ]
    assert residual(*dropped) == pytest.approx(residual(*taken), rel=1e-12)
    assert [100.0 * math.log(said[index].gain_codes_per_v / said[1].gain_codes_per_v) for index in (0, 2)] == (
        pytest.approx([-1.0, 1.0], abs=0.01)
    )


def test_a_record_that_cannot_be_fitted_counts_for_nothing() -> None:
    torn = dataclasses.replace(record(0, 0.0), drive_read_vpk=0.0)
    assert residual(torn, record(1, 1.0), record(2, 2.0, VALID, records=3)) == pytest.approx(1.5, abs=0.01)
    unread = record(1, 0.0, ReadingStatus.INVALID, records=2, waveform=None, reason="no-record")
    assert judged(record(0, 1.0), unread).settings[0].outcome == "INVALID"
