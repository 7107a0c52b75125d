"""What a sweep does to the bench and in which order; the order is a matter of safety."""

from __future__ import annotations

import dataclasses
import itertools
from typing import Any

import pytest

from harness.values import Direction, Reading, ReadingStatus, Setting
from tests.sweep.spied_bench import PLAN, Call, Rig, error_percent, rungs_at

OFF_VERBS = ("output_off", "safe_off", "prepare")


def states(rig: Rig) -> list[tuple[Call, bool, float]]:
    """Each call with whether the output was on, and at what level, when it was made."""
    found, on, level_vpk = [], False, 0.0
    for call in rig.calls:
        found.append((call, on, level_vpk))
        if call.role == "source" and call.verb in OFF_VERBS:
            on = False
        elif call.role == "source" and call.verb == "output_on":
            on = True
        elif call.role == "source" and call.verb == "set_level":
            level_vpk = call.arguments[0]
    return found


def check_safe(rig: Rig) -> None:
    """No relay moves while the output is on, no level passes the limit, the gain never rises under a higher level."""
    where: dict[int, Setting] = {}
    current: Setting | None = None
    planned = {rung.setting: rung for rung in PLAN.rungs}
    for call, on, level_vpk in states(rig):
        if call.role == "source" and call.verb == "set_level":
            assert PLAN.level_least_vpk <= call.arguments[0] <= PLAN.level_limit_vpk
        if call.role != "device" or call.verb != "select":
            continue
        setting = call.arguments[0]
        same_range = current is not None and (current.channel, current.coarse) == (setting.channel, setting.coarse)
        if not same_range:
            assert not on, f"{setting} was selected with the output on"
        elif on and planned[setting].prediction.gain_codes_per_v > planned[current].prediction.gain_codes_per_v:
            assert level_vpk <= planned[setting].drive_vpk, f"the gain rose to {setting} under {level_vpk} V peak"
        where[setting.channel] = current = setting
        others = [s for channel, s in where.items() if channel != setting.channel]
        assert all(s.coarse == 0 for s in others), "the channel left behind is parked at its least sensitive range"


def test_a_healthy_ladder_is_valid_in_order_and_safe(rig: Any) -> None:
    bench = rig()
    bench.sweep()
    assert bench.statuses == [ReadingStatus.VALID] * 4
    assert [r.index for r in bench.readings] == [0, 1, 2, 3]
    assert [r.setting for r in bench.readings] == [rung.setting for rung in bench.plan.rungs]
    assert all(abs(error_percent(r, rung)) < 2.0 for r, rung in zip(bench.readings, bench.plan.rungs, strict=True))
    assert all(r.capture is not None and r.capture_reason == "" for r in bench.readings)
    assert all(dict(r.read_back).keys() == {"coarse", "fine"} for r in bench.readings)
    assert all(r.frequency_hz == 2125.0 and r.duration_s > 0.0 for r in bench.readings)
    check_safe(bench)
    assert bench.verbs[0] == "source.prepare"
    assert bench.verbs[-1] == "source.safe_off"
    assert not bench.output_is_on()


def test_up_and_down_lower_the_level_before_the_gain_rises(rig: Any) -> None:
    bench = rig(rungs=[rung for rung in PLAN.rungs if rung.setting.channel == 1 and rung.setting.coarse < 3])
    bench.sweep()
    assert set(bench.statuses) == {ReadingStatus.VALID}
    assert {r.direction for r in bench.readings} == {Direction.UP, Direction.DOWN}
    check_safe(bench)


@pytest.mark.parametrize("fault", ["relay-not-picking", "load-resistor-missing", "pregain-ratio-wrong=30"])
def test_a_wrong_device_is_swept_as_safely(rig: Any, fault: str) -> None:
    bench = rig(fault, rungs=rungs_at((1, 2, 20), (1, 3, 0), (1, 3, 20), (1, 6, 0), (2, 3, 20)))
    bench.sweep()
    assert bench.statuses.count(ReadingStatus.VALID) == 5
    check_safe(bench)


def test_a_clip_re_levels_with_the_source_off_between(rig: Any) -> None:
    # With K1 of the 1:10 pad not picking the gain is ten times the law's: the planned level clips.
    bench = rig("relay-not-picking:1", rungs=rungs_at((1, 3, 0), (2, 3, 0)))
    bench.sweep()
    assert bench.statuses[0] is ReadingStatus.RELEVELLED
    final = [r for r in bench.readings if r.status is ReadingStatus.VALID]
    assert [r.setting.channel for r in final] == [1, 2]
    assert error_percent(final[0], bench.plan.rungs[0]) == pytest.approx(230.0, abs=3.0)  # 100 ln 10
    first = [r for r in bench.readings if r.setting.channel == 1]
    assert [r.attempt for r in first] == list(range(len(first)))
    assert all(r.waveform is not None and r.drive_read_vpk == pytest.approx(r.drive_set_vpk, rel=1e-3) for r in first)
    assert all(r.capture is first[0].capture for r in first)
    assert "clipped" in first[0].reason
    on = [index for index, verb in enumerate(bench.verbs) if verb == "source.output_on"]
    for earlier, later in itertools.pairwise(on):
        levels = [c for c in bench.calls[earlier:later] if c.verb == "set_level"]
        offs = [c for c in bench.calls[earlier:later] if c.verb == "output_off"]
        assert not levels or offs


def test_a_level_that_fits_only_between_two_tries_is_found(rig: Any) -> None:
    bench = rig("load-resistor-missing", rungs=rungs_at((1, 3, 0), (2, 3, 0)))
    bench.sweep(fill_low=0.85, fill_target=0.87, fill_high=0.9)
    final = [r for r in bench.readings if r.status is ReadingStatus.VALID]
    assert len(final) == 2
    assert all(r.status is ReadingStatus.RELEVELLED for r in bench.readings if r not in final)


class Dead:
    """Makes the records of one channel flat."""

    def __init__(self, bench: Rig, channel: int) -> None:
        device = bench._instruments["device"]
        acquire = device.acquire

        def flat(wanted: int, *meanwhile: Any) -> Any:
            wave = acquire(wanted, *meanwhile)
            codes = wave.codes * 0 if wanted == channel else wave.codes
            return dataclasses.replace(wave, codes=codes)

        device.acquire = flat


def test_a_gain_of_zero_beside_a_good_channel_is_the_devices_fault(rig: Any) -> None:
    bench = rig(rungs=rungs_at((1, 3, 0), (2, 3, 0)))
    Dead(bench, 1)
    bench.sweep()
    dead = [r for r in bench.readings if r.setting.channel == 1]
    assert dead[-1].status is ReadingStatus.UNMEASURABLE
    assert {r.status for r in dead[:-1]} == {ReadingStatus.RELEVELLED}
    assert "no level between 0.0005 and 10 V peak fits; last: underfilled" in dead[-1].reason
    assert dead[-1].drive_set_vpk == PLAN.level_limit_vpk
    assert dead[-1].waveform is not None
    assert bench.readings[-1].status is ReadingStatus.VALID
    assert bench.notebook.texts("unmeasurable") == [f"ch1 2V 100 %: {dead[-1].reason}"]
    check_safe(bench)


def test_a_gain_of_zero_without_anything_good_is_nobodys_fault(rig: Any) -> None:
    bench = rig(rungs=rungs_at((1, 3, 0)))
    Dead(bench, 1)
    bench.sweep()
    assert bench.readings[-1].status is ReadingStatus.INVALID
    assert "nothing shows that the source is right: check it and its cables" in bench.readings[-1].reason


def test_the_number_of_levels_tried_is_bounded_and_the_last_try_is_the_verdict(
    rig: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("harness.sweep.attempt.MOST_TRIES", 2)
    bench = rig(rungs=rungs_at((1, 3, 0), (2, 3, 0)))
    Dead(bench, 1)
    bench.sweep()
    assert bench.statuses == [ReadingStatus.RELEVELLED, ReadingStatus.UNMEASURABLE, ReadingStatus.VALID]
    assert all(r.waveform is not None for r in bench.readings)


def test_progress_is_told_after_each_rung_with_its_last_reading(rig: Any) -> None:
    bench = rig("relay-not-picking:1")
    told: list[tuple[int, Reading]] = []
    bench.after = lambda done, reading: told.append((done, reading))
    bench.sweep()
    assert [done for done, _ in told] == [1, 2, 3, 4]
    assert [r.setting for _, r in told] == [rung.setting for rung in bench.plan.rungs]
    assert all(r.status is ReadingStatus.VALID for _, r in told)


def test_processed_records_are_refused_and_the_device_is_prepared_again(rig: Any) -> None:
    bench = rig()
    device = bench._instruments["device"]
    acquire, spoiled = device.acquire, []

    def averaged(channel: int, *meanwhile: Any) -> Any:
        wave = acquire(channel, *meanwhile)
        if bench.readings and not spoiled:
            spoiled.append(channel)
            return dataclasses.replace(wave, mode="average")
        return wave

    device.acquire = averaged
    bench.sweep()
    assert bench.statuses[:3] == [ReadingStatus.VALID, ReadingStatus.RETRIED, ReadingStatus.VALID]
    assert "mode 'average'; allowed is plain sample mode" in bench.readings[1].reason
