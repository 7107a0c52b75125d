"""Readings beside the ladder: which settings, at what level, in what order; by hand for the Skerry HR-4."""

from __future__ import annotations

from collections import Counter

import pytest

from harness.config import Extra
from harness.config.bench_file import Wiring
from harness.errors import ConfigError
from harness.ladder import Ground, OtherSource, drive_of, plan_extras, preview_rows, preview_summary
from harness.values import Purpose, Rung, Setting

WANTED = {"channels": [1, 2], "coarse": ["5V", "2V", "200mV", "20mV"], "fine": [0, 20], "directions": ["up"]}
FILLS = [0.4, 0.8]


def drive(workshop):
    return drive_of(
        workshop.device, workshop.bench,
        span_codes=4096, source_min_vpk=workshop.source_min_vpk, source_max_vpk=workshop.source_max_vpk,
    )  # fmt: skip


def ground(workshop, **changes) -> Ground:
    made = {
        "law": workshop.law,
        "drive": drive(workshop),
        "ladder": workshop.build(**WANTED),
        "fill_target_ratio": 0.75,
    }
    return Ground(**{**made, **changes})


def extras(workshop, changes=None, **asked) -> tuple[Rung, ...]:
    return plan_extras(ground(workshop, **(changes or {})), Extra.model_validate(asked), file="job.toml")


def test_nothing_is_planned_unless_named(workshop) -> None:
    assert extras(workshop) == ()


def test_two_levels_at_one_setting_of_each_attenuator(workshop) -> None:
    found = extras(workshop, two_level=FILLS)
    assert [rung.index for rung in found] == list(range(16, 28))
    assert {rung.purpose for rung in found} == {Purpose.TWO_LEVEL}
    for low, high in zip(found[::2], found[1::2], strict=True):
        assert low.setting == high.setting
        assert high.drive_vpk == pytest.approx(2 * low.drive_vpk, rel=1e-3)
        assert (low.fill_ratio, high.fill_ratio) == (pytest.approx(0.4, rel=2e-3), pytest.approx(0.8, rel=2e-3))
    attenuators = [rung.prediction.state.control("attenuator") for rung in found[::2]]
    assert attenuators == ["1:100", "1:10", "1:1"] * 2


def test_both_levels_in_one_range_of_the_source_where_that_is_known(workshop) -> None:
    # 5 V range: 1.0 and 2.0 V peak at 100 %, 0.4 and 0.8 V peak at 40 %. An end at 0.5 V leaves the first alone.
    for end_vpk, drives in ((0.5, [1.001, 2.003]), (1.5, [0.4, 0.8])):
        found = extras(workshop, {"range_ends_vpk": (end_vpk,)}, two_level=FILLS)
        assert [rung.drive_vpk for rung in found[:2]] == pytest.approx(drives, rel=2e-3)


def test_a_second_frequency_at_the_least_gain_of_each_attenuator_and_at_the_highest_of_all(workshop) -> None:
    found = extras(workshop, second_frequency_hz=1.0e5)
    assert [rung.frequency_hz for rung in found] == [0.0, 1.0e5] * 8
    places = [(rung.setting.coarse, rung.setting.fine) for rung in found[:8:2]]
    assert places == [(2, 0), (3, 0), (6, 0), (9, 20)]
    for here, there in zip(found[::2], found[1::2], strict=True):
        assert (here.setting, here.drive_vpk) == (there.setting, there.drive_vpk)


def test_quiet_at_the_most_sensitive_setting_of_each_range(workshop) -> None:
    found = extras(workshop, quiet=True)
    assert [(r.setting.channel, r.setting.coarse, r.setting.fine) for r in found] == [
        (channel, coarse, 20) for channel in (1, 2) for coarse in (2, 3, 6, 9)
    ]
    assert {(rung.drive_vpk, rung.fill_ratio) for rung in found} == {(0.0, 0.0)}


def test_repeats_for_each_relay_untouched_and_by_way_of_another_range(workshop) -> None:
    found = extras(workshop, repeats=5)
    counts = Counter((rung.setting, rung.purpose, rung.via) for rung in found)
    # K1 is energised for 1:10 (2 V), K2 for 1:100 (5 V); the way away is the least sensitive range without the relay.
    by_relay = {Setting(1, 3, 20): Setting(1, 2, 0), Setting(1, 2, 20): Setting(1, 3, 0)}
    for setting, via in by_relay.items():
        assert counts[setting, Purpose.REPEAT, None] == 5
        assert counts[setting, Purpose.REPEAT_TOGGLED, via] == 5
    assert len(found) == 40
    # K1 and K2 both change on the way away and both on the way back.
    assert [r.relay_toggles for r in found if r.purpose is Purpose.REPEAT_TOGGLED] == [4] * 20


def other(workshop, channel: int = 4) -> OtherSource:
    wiring = Wiring(load_ohm=1.0e6, told_ohm="high-z")
    bench = workshop.bench.model_copy(update={"wiring": wiring, "max_level_vpk": 5.0})
    drive = drive_of(workshop.device, bench, span_codes=4096, source_min_vpk=0.0005, source_max_vpk=10.0)
    return OtherSource(channel=channel, drive=drive)


def test_crosstalk_from_the_largest_range_that_the_other_source_can_fill(workshop) -> None:
    found = extras(workshop, {"other": other(workshop)}, crosstalk_hz=2875.0)
    assert [rung.setting for rung in found] == [Setting(1, 9, 20), Setting(2, 9, 20)]
    aggressor = found[0].aggressor
    assert aggressor is not None
    # The bench permits 5 V: 80 % of the 20 V range would take 8 V, of the 10 V range 4 V.
    assert aggressor.prediction.setting == Setting(4, 1, 0)
    assert 3.9 < aggressor.drive_vpk < 4.1
    assert aggressor.amplitude_code == pytest.approx(0.8 * 2048, rel=1e-3)
    assert aggressor.frequency_hz == 2875.0
    assert {rung.drive_vpk for rung in found} == {0.0}


@pytest.mark.parametrize("channel", [None, 2])
def test_crosstalk_needs_a_second_source_on_a_channel_outside_the_ladder(workshop, channel: int | None) -> None:
    changes = {} if channel is None else {"other": other(workshop, channel)}
    with pytest.raises(ConfigError) as caught:
        extras(workshop, changes, crosstalk_hz=2875.0, repeats=5)
    (problem,) = caught.value.problems
    assert (problem.key, problem.got) == ("extra.crosstalk_hz", "2875.0, and no setting can give it")
    assert problem.allowed == (
        "an [aggressor] on the bench that can fill a range of its channel; a ladder without that channel; "
        "or leave it out"
    )


def test_levels_out_of_reach_are_refused(workshop) -> None:
    far = drive_of(workshop.device, workshop.bench, span_codes=4096, source_min_vpk=0.003, source_max_vpk=0.0031)
    with pytest.raises(ConfigError, match=r"extra\.two_level.*permit both fills"):
        extras(workshop, {"drive": far}, two_level=FILLS)


def test_the_preview_counts_them_with_their_time_and_toggles(workshop) -> None:
    ladder = ground(workshop).ladder
    found = extras(workshop, repeats=5, quiet=True)
    law, device = workshop.law, workshop.device
    plain, whole = (preview_summary(rungs, law, device) for rungs in (ladder, (*ladder, *found)))
    assert whole.extras == ((Purpose.QUIET, 8), (Purpose.REPEAT, 20), (Purpose.REPEAT_TOGGLED, 20))
    assert plain.extras == ()
    assert (plain.readings, whole.readings) == (16, 64)
    moved = sum(rung.relay_toggles for rung in (*ladder, *found))
    assert sum(count for _, count in whole.relay_toggles) == moved
    # Each detour takes two changes of range beside the record and the wait of its own.
    straight = [rung for rung in found if rung.via is None]
    detours = whole.duration_s - preview_summary((*ladder, *straight), law, device).duration_s
    assert detours == pytest.approx(20 * (0.008 + 2 * 0.010 + 0.001), abs=4 * 0.0091)
    row = preview_rows((*ladder, *found), law)[-1]
    assert (row.purpose, row.relays) == (Purpose.REPEAT_TOGGLED, ("K1", "K2"))


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"two_level": [0.8, 0.4]}, "the lower fill first"),
        ({"two_level": [0.4, 0.5]}, "at least 1.5 times as much"),
        ({"repeats": 3}, "repeats: 0, or 5 to 100"),
        ({"exact_steps": 1}, "exact_steps: 0, or 2 to 20: one round shows no scatter"),
        ({"offset_pairs": 3}, "offset_pairs: 0, or 4 to 50"),
        ({"overdriven": 1.0}, "greater than or equal to 1.1"),
    ],
)
def test_senseless_wishes_are_refused(asked: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        Extra.model_validate(asked)


def test_overdriven_once_at_each_setting_that_the_limits_let_overdrive(workshop) -> None:
    found = extras(workshop, overdriven=1.2)
    assert len(found) == 16
    assert {rung.purpose for rung in found} == {Purpose.OVERDRIVEN}
    assert all(rung.fill_ratio == pytest.approx(1.2, rel=2e-3) for rung in found)
    # 5 V range: 2.5 V peak times 1.2.
    assert found[0].drive_vpk == pytest.approx(3.0, rel=2e-3)
    # A limit of 2.9 V forbids it there, and what is forbidden is not driven less.
    limited = drive_of(workshop.device, workshop.bench, span_codes=4096, source_min_vpk=0.003, source_max_vpk=2.9)
    low = extras(workshop, {"drive": limited}, overdriven=1.2)
    assert {rung.setting for rung in found} - {rung.setting for rung in low} == {Setting(1, 2, 0), Setting(2, 2, 0)}
    assert max(rung.drive_vpk for rung in low) <= 2.9
    none = drive_of(workshop.device, workshop.bench, span_codes=4096, source_min_vpk=0.003, source_max_vpk=0.0031)
    with pytest.raises(ConfigError, match=r"extra\.overdriven.*permit to overdrive"):
        extras(workshop, {"drive": none}, overdriven=1.2)


def test_exact_steps_read_both_settings_at_one_level_round_by_round(workshop) -> None:
    wanted = {**WANTED, "channels": [1], "coarse": ["50mV", "20mV"]}
    found = extras(workshop, {"ladder": workshop.build(**wanted)}, exact_steps=3)
    places = [(rung.setting.coarse, rung.setting.fine, rung.drive_vpk) for rung in found]
    once = places[: len(places) // 3]
    assert places == once * 3
    # 40 % of 50 mV and 100 % of 20 mV are one full scale, at fill 0.75 7.5 mV peak; 40 % of 20 mV is 3 mV. What is read
    # at the level of the next range comes before that range, each setting and level once.
    assert once == [
        (coarse, fine, pytest.approx(level_vpk, rel=1e-2))
        for coarse, fine, level_vpk in (
            (8, 0, 0.0075), (8, 20, 0.0075), (8, 20, 0.003), (9, 0, 0.003), (9, 0, 0.0075), (9, 20, 0.003),
        )
    ]  # fmt: skip
    assert {rung.fill_ratio for rung in found if rung.fill_ratio < 0.29} == set()
    with pytest.raises(ConfigError, match=r"extra\.exact_steps.*both measurable at the level of the more sensitive"):
        extras(workshop, {"ladder": workshop.build(**{**wanted, "coarse": ["50mV"], "fine": [0]})}, exact_steps=2)


def test_offset_pairs_walk_all_settings_round_by_round_with_the_source_off(workshop) -> None:
    found = extras(workshop, offset_pairs=4)
    settings = [rung.setting for rung in found]
    assert settings == settings[:16] * 4
    assert len(set(settings[:16])) == 16
    assert {(rung.purpose, rung.drive_vpk) for rung in found} == {(Purpose.OFFSET, 0.0)}
