"""The self-check: is the source right, is the device what changed, or can nobody tell?"""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from harness.diagnosis.candidates import DEVICE_PROVEN
from harness.errors import StationFault
from harness.sweep.hands import Hands
from harness.sweep.journal import Journal
from harness.sweep.self_check import self_check
from harness.values import Event, shared_factor_of
from tests.sweep.spied_bench import PLAN, Rig, rungs_at

QUIET = (9, 20)
"""Coarse and fine of the device file's quiet noise: 20 mV at 40 %."""
TWO_CHANNELS = ((1, 3, 0), (1, 9, 20), (2, 3, 0), (2, 9, 20))


def check(bench: Rig, **changes: Any) -> bool:
    hands = Hands(bench.bench, dataclasses.replace(bench.plan, **changes))
    hands.prepare()
    try:
        return self_check(hands, dataclasses.replace(bench.plan, **changes), Journal(bench.notebook))
    finally:
        bench.bench.source.safe_off()


def too_strong(bench: Rig, ratio: float, *, channel: int | None = None) -> None:
    """The level is by a factor other than the source says (or, with a channel, that channel's gain)."""
    device = bench._instruments["device"]
    acquire = device.acquire

    def acquired(wanted: int, *meanwhile: Any) -> Any:
        wave = acquire(wanted, *meanwhile)
        if channel not in (None, wanted):
            return wave
        # Only the sine is scaled: noise stays, as with a wrong level at the input.
        centre = round(float(wave.codes.mean()))
        if not bench.output_is_on():
            return wave
        codes = ((wave.codes - centre) * ratio + centre).clip(-2048, 2047).astype(wave.codes.dtype)
        return dataclasses.replace(wave, codes=codes)

    device.acquire = acquired


def notes(bench: Rig) -> str:
    return "; ".join(bench.notebook.texts("self-check"))


def test_a_healthy_bench_is_proven_by_one_setting_a_channel(rig: Any) -> None:
    bench = rig(rungs=rungs_at(*TWO_CHANNELS))
    assert check(bench)
    # One a channel; then two for the waits and three for the contact, of the first channel alone.
    assert bench.verbs.count("device.acquire") == 2 + 2 + 3
    assert "gain over prediction at 0.25 fill: ch1 2V 100 % ×" in notes(bench)
    assert max(c.arguments[0] for c in bench.calls if c.verb == "set_level") < 0.5


def test_one_good_channel_proves_the_source(rig: Any) -> None:
    bench = rig(rungs=rungs_at(*TWO_CHANNELS))
    too_strong(bench, 1.3, channel=1)
    assert check(bench)


@pytest.mark.parametrize("ratio", [0.2, 0.5, 2.0, 3.1])
def test_one_factor_everywhere_that_the_noise_does_not_share_is_the_station(rig: Any, ratio: float) -> None:
    bench = rig(rungs=rungs_at(*TWO_CHANNELS))
    too_strong(bench, ratio)
    with pytest.raises(StationFault) as caught:
        check(bench)
    assert caught.value.fault == "source-load-mis-set"
    assert caught.value.also == ("terminator-wrong", "unit-mix-up", "pad-wrong")
    said = float(str(caught.value).partition("all channels are off by ×")[2].partition(";")[0])
    assert said == pytest.approx(ratio, rel=0.01)
    assert "check the source's load setting, terminators and cable" in str(caught.value)
    assert not bench.output_is_on()


def test_the_station_is_found_by_one_channel_too(rig: Any) -> None:
    bench = rig(rungs=rungs_at((1, 3, 0), (1, 9, 20)))
    too_strong(bench, 2.0)
    with pytest.raises(StationFault, match=r"all channels are off by ×1\.99"):
        check(bench)


def test_a_factor_that_the_noise_shares_is_the_device(rig: Any) -> None:
    bench = rig("load-resistor-missing", rungs=rungs_at(*TWO_CHANNELS))
    assert check(bench)
    assert "so the device is what changed" in notes(bench)
    # The diagnosis reads these words from the journal.
    assert DEVICE_PROVEN in notes(bench)


def test_a_relay_of_every_channel_is_not_taken_for_the_station(rig: Any) -> None:
    # A wrong pad moves the ranges that need it, in all channels alike; a wrong source moves all ranges.
    bench = rig("pregain-ratio-wrong=40", rungs=rungs_at((1, 3, 20), (1, 9, 20), (1, 0, 0), (2, 3, 20), (2, 9, 20)))
    moved = [r for r in bench.plan.rungs if r.prediction.state.control("pregain") == 1]
    assert moved
    bench.plan = dataclasses.replace(
        bench.plan, rungs=tuple(moved[:1] + [r for r in bench.plan.rungs if r not in moved])
    )
    assert check(bench)


@pytest.mark.parametrize("places", [((1, 3, 0), (1, 9, 20)), ((1, 3, 0), (2, 3, 0), (1, 9, 0))])
def test_another_range_proves_the_source_where_the_first_one_is_wrong(rig: Any, places: Any) -> None:
    bench = rig("relay-not-picking", rungs=rungs_at(*places))
    first = bench.plan.rungs[0].prediction.label
    assert check(bench)
    assert "×" in notes(bench)
    assert first in notes(bench) or "20mV" in notes(bench)


def test_channels_that_differ_prove_nothing(rig: Any) -> None:
    bench = rig(rungs=rungs_at((1, 3, 0), (2, 3, 0)))
    too_strong(bench, 1.3, channel=1)
    too_strong(bench, 1.5, channel=2)
    assert not check(bench)


def test_a_channel_without_a_record_beside_a_wrong_one_proves_nothing(rig: Any) -> None:
    bench = rig(rungs=rungs_at((1, 3, 0), (2, 3, 0)))
    too_strong(bench, 0.0, channel=1)
    too_strong(bench, 1.5, channel=2)
    assert not check(bench)
    assert "ch1 2V 100 % no valid record" in notes(bench)


def test_no_record_at_all_proves_nothing(rig: Any) -> None:
    bench = rig(rungs=rungs_at((1, 3, 0)))
    too_strong(bench, 0.0)
    assert not check(bench)
    assert notes(bench).endswith("ch1 2V 100 % no valid record")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"device": PLAN.device.model_copy(update={"quiet_noise": None})}, "no [quiet_noise] in the device file"),
        ({"rungs": tuple(rungs_at((1, 3, 0), (2, 3, 0)))}, "quiet-noise setting not in the ladder"),
    ],
)
def test_without_the_means_nobody_is_blamed(rig: Any, change: Any, said: str) -> None:
    bench = rig(rungs=rungs_at(*TWO_CHANNELS))
    too_strong(bench, 2.0)
    assert not check(bench, **change)
    assert f"{said}: device and source are not told apart" in notes(bench)


@pytest.mark.parametrize("typical_code", [1e-9, 1.144, 1e9])
def test_noise_that_fits_neither_blames_nobody(rig: Any, typical_code: float) -> None:
    # 1.144: the noise of 1.6 codes is ×1.4 of typical, a third away from both ×1 and ×2.
    quiet = PLAN.device.quiet_noise.model_copy(update={"noise_code": typical_code})
    bench = rig(rungs=rungs_at(*TWO_CHANNELS))
    too_strong(bench, 2.0)
    assert not check(bench, device=PLAN.device.model_copy(update={"quiet_noise": quiet}))
    assert notes(bench).endswith("device and source are not told apart")


def test_a_factor_within_the_spread_of_the_noise_blames_nobody(rig: Any) -> None:
    bench = rig(rungs=rungs_at(*TWO_CHANNELS))
    too_strong(bench, 1.3)
    assert not check(bench)
    assert notes(bench).endswith("device and source are not told apart")


def test_a_factor_that_nobody_can_place_is_told_to_the_judge(rig: Any) -> None:
    bench = rig(rungs=rungs_at(*TWO_CHANNELS))
    too_strong(bench, 1.3)
    assert not check(bench)
    (said,) = bench.notebook.texts("shared-factor")
    told = Event(at_utc="", at_s=0.0, kind="shared-factor", text=said)
    assert shared_factor_of([told]) == pytest.approx(1.3, rel=0.01)
    assert "shared by 2 channels: the station (unit-mix-up, source-load-mis-set, terminator-wrong, pad-wrong)" in said
    assert "Measure a golden unit on this station (`gainladder golden check`) and run again" in said


def test_a_factor_of_one_channel_alone_is_held_against_nobody(rig: Any) -> None:
    bench = rig(rungs=rungs_at((1, 3, 0), (1, 9, 20)))
    too_strong(bench, 1.3)
    assert not check(bench)
    assert bench.notebook.texts("shared-factor") == []


def test_a_record_without_noise_blames_nobody(rig: Any) -> None:
    bench = rig(rungs=rungs_at(*TWO_CHANNELS))
    device = bench._instruments["device"]
    too_strong(bench, 2.0)
    acquire = device.acquire

    def quiet(channel: int, *meanwhile: Any) -> Any:
        wave = acquire(channel, *meanwhile)
        return wave if bench.output_is_on() else dataclasses.replace(wave, codes=wave.codes * 0)

    device.acquire = quiet
    assert not check(bench)
    assert "the device's noise is ×0 of typical" in notes(bench)


def test_the_quiet_setting_of_the_device_file_is_the_one_used(rig: Any) -> None:
    assert PLAN.device.quiet_noise is not None
    assert PLAN.device.quiet_noise.place(PLAN.device) == QUIET


def test_the_check_never_drives_harder_than_the_ladder_and_never_below_the_source(rig: Any) -> None:
    bench = rig(rungs=rungs_at((1, 3, 0)))
    low = tuple(dataclasses.replace(r, fill_ratio=0.1, drive_vpk=r.drive_vpk / 7.5) for r in bench.plan.rungs)
    assert check(bench, rungs=low)
    levels = [c.arguments[0] for c in bench.calls if c.verb == "set_level"]
    assert levels[0] == pytest.approx(low[0].drive_vpk, rel=1e-3)
    assert len(set(levels)) == 1
    assert check(bench, level_least_vpk=0.6)
    assert {c.arguments[0] for c in bench.calls if c.verb == "set_level"} - set(levels) == {0.6}


def test_trouble_during_the_check_gets_a_second_try_and_the_ladder_is_walked(rig: Any) -> None:
    bench = rig()
    bench.before = lambda call: (
        bench.link("device").misbehave("silent", 0)
        if call.verb == "acquire" and not bench.notebook.notes and not bench.link("device").hooks
        else None
    )
    bench.sweep()
    said = bench.notebook.texts("self-check")
    assert said[0].startswith("not completed: ")
    assert "gain over prediction" in said[1]
    assert {r.status.value for r in bench.readings} == {"valid"}


def test_trouble_twice_leaves_the_source_unproven_and_the_bench_is_recovered(rig: Any) -> None:
    bench = rig()
    bench.before = lambda call: (
        bench.link("device").misbehave("silent", 0)
        if call.verb == "acquire" and len(bench.notebook.texts("self-check")) < 2 and not bench.link("device").hooks
        else None
    )
    bench.sweep()
    assert [t.startswith("not completed: ") for t in bench.notebook.texts("self-check")] == [True, True]
    assert {r.status.value for r in bench.readings} == {"valid"}
