"""Several records a setting: as many as the decision needs, no more than the job allows, all of them in the record."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest

from harness.sweep import AveragingPlan, Walk
from harness.sweep.averaging import Average
from harness.values import ReadingStatus
from tests.sweep.spied_bench import PLAN, Rig, error_percent, rungs_at
from tests.sweep.test_sweep_order import check_safe

VALID, AVERAGED, RETRIED = ReadingStatus.VALID, ReadingStatus.AVERAGED, ReadingStatus.RETRIED
PLACES = ((1, 3, 0), (1, 3, 10), (1, 8, 20))


def after(enough: int, *, most: int = 9, asked: list[Any] | None = None) -> AveragingPlan:
    """Certain after so many records."""

    def certain(rung: Any, percents: Any, u_percent: float) -> bool:
        if asked is not None:
            asked.append((rung, percents, u_percent))
        return len(percents) >= enough

    return AveragingPlan(most_records=most, certain=certain)


def swept(rig: Any, plan: AveragingPlan, *, overlap: bool = True, **changes: Any) -> Rig:
    bench: Rig = rig(rungs=rungs_at(*PLACES), together=True)
    bench.sweep(averaging=plan, overlap=overlap, **changes)
    return bench


@pytest.mark.parametrize("overlap", [False, True])
def test_records_follow_each_other_until_it_is_certain(rig: Any, overlap: bool) -> None:
    bench = swept(rig, after(3), overlap=overlap)
    assert bench.statuses == [AVERAGED, AVERAGED, VALID] * 3
    assert [r.index for r in bench.readings] == list(range(9))
    assert [r.attempt for r in bench.readings] == [0, 1, 2] * 3
    assert [(r.records, r.stopped) for r in bench.readings] == [(1, ""), (1, ""), (3, "certain")] * 3
    assert [r.final for r in bench.readings] == [False, False, True] * 3
    for first in range(0, 9, 3):
        own = bench.readings[first : first + 3]
        assert len({r.setting for r in own}) == len({r.drive_read_vpk for r in own}) == 1
        assert len({r.waveform.sequence for r in own}) == 3
        assert own[0].capture is own[2].capture is not None
    check_safe(bench)
    # The setting is made once; nothing but records is asked for in between.
    start = bench.verbs.index("device.acquire", len(bench.verbs) - bench.verbs[::-1].index("source.output_on"))
    assert bench.verbs[start : start + 2] == ["device.acquire", "adapter.fetch"]
    assert bench.verbs[-3:] == ["device.acquire", "device.acquire", "source.safe_off"]


def test_the_jobs_most_is_never_passed(rig: Any) -> None:
    bench = swept(rig, after(99, most=2))
    assert bench.statuses == [AVERAGED, VALID] * 3
    assert {(r.records, r.stopped) for r in bench.readings if r.final} == {(2, "most")}


def test_one_record_may_be_enough(rig: Any) -> None:
    bench = swept(rig, after(1))
    assert [(r.status, r.records, r.stopped) for r in bench.readings] == [(VALID, 1, "certain")] * 3


def test_who_decides_sees_the_gain_over_the_prediction_and_its_uncertainty(rig: Any) -> None:
    asked: list[Any] = []
    bench = swept(rig, after(2, asked=asked))
    assert [len(percents) for _, percents, _ in asked] == [1, 2] * 3
    for (rung, percents, u_percent), reading in zip(asked, bench.readings, strict=True):
        assert rung.setting == reading.setting
        assert percents[-1] == pytest.approx(error_percent(reading, rung), abs=1e-6)  # by projection, not by our fit
        assert 0.02 <= u_percent < 0.05  # the device file states 0.02 % of repeatability


def test_a_failure_begins_the_rung_anew(rig: Any) -> None:
    bench: Rig = rig(rungs=rungs_at(*PLACES[:2]), together=True)
    left = [1]

    def before(call: Any) -> None:
        if call.verb == "acquire" and len(bench.readings) == 1 and left[0]:
            left[0] = 0
            bench.link("device").misbehave("silent", 0)

    bench.before = before
    bench.sweep(averaging=after(3), overlap=False)
    assert bench.statuses == [AVERAGED, RETRIED, AVERAGED, AVERAGED, VALID, AVERAGED, AVERAGED, VALID]
    assert bench.readings[4].records == 3


def test_a_clip_among_the_records_levels_anew(rig: Any) -> None:
    bench: Rig = rig(rungs=rungs_at((1, 3, 0)), together=True)
    device, seen = bench._instruments["device"], []
    acquire = device.acquire

    def once_too_much(channel: int, *meanwhile: Any) -> Any:
        wave = acquire(channel, *meanwhile)
        seen.append(channel)
        if len(bench.readings) != 1 or bench.statuses != [AVERAGED]:
            return wave
        return dataclasses.replace(wave, codes=np.where(wave.codes > 0, 2047, -2048).astype(np.int16))

    device.acquire = once_too_much
    bench.sweep(averaging=after(2), overlap=False)
    assert bench.statuses[:2] == [AVERAGED, ReadingStatus.RELEVELLED]
    assert bench.statuses[-2:] == [AVERAGED, VALID]
    assert bench.readings[-1].records == 2
    assert len({r.drive_set_vpk for r in bench.readings[-2:]}) == 1


def test_a_record_without_a_level_asks_for_no_other(rig: Any) -> None:
    bench = swept(rig, after(1))
    average = Average(after(9), bench.plan.rungs[0], PLAN.device, input_ratio=PLAN.input_ratio)
    silent = dataclasses.replace(bench.readings[0], drive_read_vpk=0.0)
    assert average.stops(silent, true_level_vpk=0.0) == "no-gain"
    assert average.records == 1


def test_anchors_and_readings_beside_the_ladder_are_one_record(rig: Any) -> None:
    bench: Rig = rig(rungs=rungs_at((1, 3, 0)), together=True)
    walk = Walk(bench.bench, dataclasses.replace(bench.plan, averaging=after(3)), bench.notebook)
    walk.look(bench.plan.rungs[0])
    assert [(r.status, r.records) for r in bench.readings] == [(VALID, 1)]
    assert PLAN.averaging is None
