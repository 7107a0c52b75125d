"""A whole run: from synthetic readings with a known truth to rows, claims and the verdict."""

from __future__ import annotations

import dataclasses
import math
import random

import pytest

from harness.app.run import judge_of
from harness.values import SHARED_FACTOR, Event, Outcome, Purpose, ReadingStatus, Realness, Setting, shared_factor_text
from tests.judge.run_builder import (
    FULL,
    codes_of,
    healthy,
    judged,
    outcomes,
    reading_of,
    reasons,
    setup_at,
)

PASS, FAIL, INVALID, INCONCLUSIVE = Outcome.PASS, Outcome.FAIL, Outcome.INVALID, Outcome.INCONCLUSIVE
RANGE = tuple((1, 3, fine) for fine in (0, 5, 10, 15, 20))
FIRST = Setting(1, 3, 0)


def test_a_unit_that_is_exactly_the_law_passes_everything() -> None:
    result = judged(FULL, [healthy(rung) for rung in FULL.rungs])
    assert result.verdict is PASS
    assert result.complete
    assert result.counts == ((PASS, 110), (FAIL, 0), (INCONCLUSIVE, 0), (INVALID, 0))
    assert result.candidates == ()
    assert result.notes == (
        "fine-step: 8 decisions are weak; the weakest: TUR 2.4 (limit over U = 0.123) is below 4.",
        "Not measured by this job, so nothing is said about: input-noise, two-level, polarity, second-frequency, "
        "toggle-scatter, crosstalk, clip-level.",
    )
    items = {limit.item for limit in FULL.limits.values()} - set(result.unmeasured)
    assert {claim.item for claim in result.judgements} == {"measurable", *items}
    assert all(row.outcome is PASS and row.reason == "" and row.attempts == 2 for row in result.settings)
    # Rounding to whole codes is the only error: 0.3 codes in 1500 is 0.02 %.
    assert max(abs(row.residual_percent) for row in result.settings) < 0.03
    arithmetic = {row.setting.coarse for row in result.settings if row.realness is Realness.ARITHMETIC}
    assert arithmetic == {10} == set(result.declared_arithmetic)
    ratios = [row.arithmetic_ratio for row in result.settings if row.setting.coarse == 10]
    assert ratios == pytest.approx([2.0] * 10, rel=1e-3)
    assert {row.realness for row in result.settings if row.setting.coarse != 10} == {Realness.HARDWARE}
    assert all(step.outcome is PASS and step.word_changed is not None for step in result.steps)
    last = [step for step in result.steps if step.kind == "coarse" and step.upper.coarse == 10]
    assert {step.realness for step in last} == {Realness.ARITHMETIC}
    assert not any(step.word_changed for step in last)
    assert len(result.worst) == 22


def test_the_residual_is_the_logarithm_of_measured_over_predicted() -> None:
    setup = setup_at((1, 3, 0))
    result = judged(setup, [reading_of(rung, gain_ratio=1.01) for rung in setup.rungs])
    row = result.settings[0]
    assert row.residual_percent == pytest.approx(100.0 * math.log(1.01), abs=0.01)
    assert row.measured_codes_per_v == pytest.approx(1.01 * row.predicted_codes_per_v, rel=1e-4)
    # Rounding to codes, at two phases: far below a thousandth of a code in 1500.
    assert row.up_down_percent == pytest.approx(0.0, abs=0.002)
    assert row.offset_code == pytest.approx(0.3, abs=0.05)
    assert row.noise_code == pytest.approx(1.0 / math.sqrt(12.0), rel=0.1)  # rounding alone
    assert row.fill_ratio == pytest.approx(0.75 * 1.01, rel=0.01)
    assert row.drive_vpk == setup.rungs[0].drive_vpk
    assert result.worst == ((1, 3, row.residual_percent),)


def test_up_and_down_weigh_alike_and_their_difference_is_shown() -> None:
    setup = setup_at((1, 3, 0))
    up, down = setup.rungs
    result = judged(setup, [reading_of(up, gain_ratio=1.01), reading_of(down, gain_ratio=1.0 / 1.01)])
    assert result.settings[0].residual_percent == pytest.approx(0.0, abs=0.01)
    assert result.settings[0].up_down_percent == pytest.approx(200.0 * math.log(1.01), abs=0.02)


@pytest.mark.parametrize(
    ("gain_ratio", "outcome"), [(1.015, PASS), (1.02, INCONCLUSIVE), (1.03, FAIL), (0.97, FAIL), (2.0, FAIL)]
)
def test_gain_is_judged_with_its_guard_band(gain_ratio: float, outcome: Outcome) -> None:
    setup = setup_at((1, 3, 0), limits=("gain",))
    # Twice the gain is measured at half the level, as the sweep does it.
    readings = [
        dataclasses.replace(
            reading_of(rung, gain_ratio=gain_ratio if gain_ratio < 1.5 else 1.0),
            drive_read_vpk=rung.drive_vpk if gain_ratio < 1.5 else rung.drive_vpk / gain_ratio,
        )
        for rung in setup.rungs
    ]
    result = judged(setup, readings)
    assert result.verdict is outcome
    assert result.settings[0].outcome is outcome
    assert (result.settings[0].reason == "") is (outcome is PASS)


def test_a_reading_missing_on_one_way_makes_its_setting_invalid_and_the_run_incomplete() -> None:
    setup = setup_at(*RANGE)
    result = judged(setup, [healthy(rung) for rung in setup.rungs[:-1]])
    assert result.verdict is INVALID
    assert not result.complete
    assert dict(result.counts) == {PASS: 4, FAIL: 0, INCONCLUSIVE: 0, INVALID: 1}
    assert reasons(result, "measurable") == ["ch1 2V 100 %: 1 of 2 readings missing"]
    assert result.notes == (
        "The run is incomplete: settings with readings missing count as INVALID.",
        "ch1 attenuator 1:10: not exercised, this ladder cannot tell it from other parameters",
        "fine-step: 1 decisions are weak; the weakest: TUR 2.4 (limit over U = 0.123) is below 4.",
        "Not measured by this job, so nothing is said about: channel-match, input-noise, two-level, polarity, "
        "second-frequency, toggle-scatter, crosstalk, clip-level, missing-codes.",
    )
    assert outcomes(result, "gain")[FIRST] == "PASS"


def test_a_setting_that_was_never_read_is_invalid() -> None:
    setup = setup_at(*RANGE)
    result = judged(setup, [healthy(rung) for rung in setup.rungs if rung.setting != FIRST])
    assert outcomes(result, "measurable")[FIRST] == "INVALID"
    assert result.settings[0].reason == "ch1 2V 100 %: not read"
    assert result.settings[0].measured_codes_per_v is None
    assert [step.lower for step in result.steps if step.kind == "fine"] == [Setting(1, 3, f) for f in (5, 10, 15)]


def test_nothing_read_is_invalid_never_a_pass() -> None:
    result = judged(setup_at(*RANGE), [])
    assert result.verdict is INVALID
    assert not result.complete
    assert dict(result.counts)[INVALID] == 5
    assert result.candidates == ()


def test_tries_that_were_superseded_only_count() -> None:
    setup = setup_at((1, 3, 0))
    up, down = setup.rungs
    clipped = reading_of(up, status=ReadingStatus.RELEVELLED, reason="clipped", gain_ratio=3.0)
    failed = reading_of(up, status=ReadingStatus.RETRIED, reason="ReadTimeout", waveform=None, capture=None)
    result = judged(setup, [clipped, failed, healthy(up), healthy(down)])
    assert result.verdict is not FAIL
    assert result.settings[0].attempts == 4
    assert outcomes(result, "measurable") == {FIRST: "PASS"}


def test_an_unmeasurable_setting_is_a_product_failure() -> None:
    setup = setup_at(*RANGE)
    dead = [
        reading_of(r, status=ReadingStatus.UNMEASURABLE, reason="no level fits") if r.setting == FIRST else healthy(r)
        for r in setup.rungs
    ]
    result = judged(setup, dead)
    assert result.verdict is FAIL
    assert result.complete
    assert set(reasons(result, "measurable")) == {"ch1 2V 100 %: gain not measurable: no level fits"}
    assert FIRST not in outcomes(result, "gain")
    assert result.settings[0].outcome is FAIL


def test_an_invalid_reading_beside_a_valid_one_is_said_and_the_gain_is_judged_from_the_other() -> None:
    setup = setup_at(*RANGE)
    first = [rung for rung in setup.rungs if rung.setting == FIRST]
    lost = reading_of(first[0], status=ReadingStatus.INVALID, reason="ReadTimeout: no answer", waveform=None)
    result = judged(setup, [lost if rung is first[0] else healthy(rung) for rung in setup.rungs])
    assert result.verdict is INVALID
    assert reasons(result, "measurable") == ["ch1 2V 100 %: reading invalid (up): ReadTimeout: no answer"]
    assert outcomes(result, "gain")[FIRST] == "PASS"
    assert result.settings[0].up_down_percent is None


BAD_RECORDS = {
    "no-record: the reading holds no waveform": {"waveform": None},
    "no-level: the source read back 0 V peak": {"drive_read_vpk": 0.0},
    "no-level: the source read back nan V peak": {"drive_read_vpk": math.nan},
    "not-plain: acquired in mode 'average'; allowed is sample, others hide code gaps": {
        "waveform": dataclasses.replace(reading_of(FULL.rungs[0]).waveform, mode="average")
    },
    "clipped: ": {
        "waveform": dataclasses.replace(
            reading_of(FULL.rungs[0]).waveform, codes=codes_of(2500.0).clip(-2048, 2047).astype("int16")
        )
    },
    "no-signal: the record holds no sine at the test frequency": {
        "waveform": dataclasses.replace(reading_of(FULL.rungs[0]).waveform, codes=codes_of(0.0))
    },
    "too-few-cycles: ": {
        "waveform": dataclasses.replace(reading_of(FULL.rungs[0]).waveform, codes=codes_of(1500.0)[:40].copy())
    },
}


@pytest.mark.parametrize("said", BAD_RECORDS)
def test_a_record_that_cannot_be_judged_is_invalid_with_its_reason(said: str) -> None:
    setup = setup_at((1, 3, 0), ways="up")
    result = judged(setup, [reading_of(setup.rungs[0], **BAD_RECORDS[said])])
    assert result.verdict is INVALID
    assert reasons(result, "measurable")[0].startswith(f"ch1 2V 100 %: reading invalid (up): {said}")
    assert outcomes(result, "gain") == {}


def test_fail_outranks_invalid_outranks_inconclusive() -> None:
    setup = setup_at(*RANGE, limits=("gain",))
    grey = [reading_of(rung, gain_ratio=1.02) for rung in setup.rungs]
    assert judged(setup, grey).verdict is INCONCLUSIVE
    lost = dataclasses.replace(grey[0], status=ReadingStatus.INVALID, reason="x", waveform=None)
    assert judged(setup, [lost, *grey[1:]]).verdict is INVALID
    wrong = reading_of(setup.rungs[2], gain_ratio=1.1)
    assert judged(setup, [lost, grey[1], wrong, *grey[3:]]).verdict is FAIL


def event(kind: str, text: str) -> Event:
    return Event(at_utc="", at_s=0.0, kind=kind, text=text)


def test_a_station_fault_in_the_journal_outranks_all_and_is_named() -> None:
    setup = setup_at(*RANGE)
    readings = [reading_of(rung, gain_ratio=0.5) for rung in setup.rungs]
    result = judged(
        setup, readings, events=[event("note", "x"), event("station-fault", "source-load-mis-set: told 50 Ω")]
    )
    assert result.verdict is INVALID
    assert [(c.fault, c.why) for c in result.candidates] == [("source-load-mis-set", "told 50 Ω")]
    assert reasons(result, "station") == ["source-load-mis-set: told 50 Ω"]


def test_the_order_of_readings_of_different_settings_does_not_matter() -> None:
    setup = setup_at(*RANGE, (1, 4, 0), (2, 3, 0))
    generator = random.Random(5)
    readings = [reading_of(rung, gain_ratio=generator.uniform(0.99, 1.01)) for rung in setup.rungs]
    expected = judged(setup, readings)
    for _ in range(3):
        generator.shuffle(by_setting := list({r.setting for r in readings}))
        shuffled = [r for setting in by_setting for r in readings if r.setting == setting]
        assert judged(setup, shuffled) == expected


def test_up_and_down_may_change_places() -> None:
    setup = setup_at(*RANGE)
    readings = [reading_of(rung, gain_ratio=1.002 if rung.direction == "up" else 0.998) for rung in setup.rungs]
    one, other = judged(setup, readings), judged(setup, readings[::-1])
    assert one.verdict is other.verdict
    for left, right in zip(one.settings, other.settings, strict=True):
        assert left.residual_percent == pytest.approx(right.residual_percent, abs=1e-9)
        assert left.up_down_percent == pytest.approx(right.up_down_percent, abs=1e-9)


def test_the_provisional_outcome_is_that_of_the_reading_alone() -> None:
    setup = setup_at(*RANGE)
    judge = judge_of(setup)
    rung = setup.rungs[0]
    assert judge.take(healthy(rung)) is PASS
    assert judge.take(reading_of(rung, gain_ratio=1.1)) is FAIL
    assert judge.take(reading_of(rung, capture=None, capture_reason="deaf")) is INVALID
    assert judge.take(reading_of(rung, status=ReadingStatus.RETRIED)) is PASS
    assert judge.take(reading_of(rung, status=ReadingStatus.UNMEASURABLE)) is FAIL


def test_a_reading_of_a_setting_outside_the_ladder_is_invalid_and_ignored() -> None:
    setup = setup_at(*RANGE)
    judge = judge_of(setup)
    assert judge.take(healthy(FULL.rungs[-1])) is INVALID
    assert judge.result().settings[0].attempts == 0


def test_a_reading_for_another_purpose_says_nothing_of_the_ladder() -> None:
    setup = setup_at(*RANGE)
    judge = judge_of(setup)
    rung = setup.rungs[0]
    assert judge.take(reading_of(rung, gain_ratio=3.0, purpose=Purpose.ANCHOR)) is PASS
    for rung in setup.rungs:
        judge.take(healthy(rung))
    result = judge.result()
    assert result.verdict is PASS
    assert result.settings[0].attempts == 2


def test_without_limits_on_steps_steps_are_shown_and_not_judged() -> None:
    setup = setup_at(*RANGE, limits=("gain",))
    result = judged(setup, [reading_of(rung, gain_ratio=1.0 + 0.001 * rung.setting.fine) for rung in setup.rungs])
    assert len(result.steps) == 4
    assert {step.outcome for step in result.steps} == {PASS}
    assert {claim.item for claim in result.judgements} == {"measurable", "gain"}


def test_limits_on_steps_alone_leave_measured_settings_passing() -> None:
    setup = setup_at(*RANGE, limits=("monotonic",))
    result = judged(setup, [reading_of(rung, gain_ratio=1.0 - 0.02 * rung.setting.fine) for rung in setup.rungs])
    assert dict(result.counts)[PASS] == 5
    assert result.gain_limit_percent == (None, None)


def test_a_step_that_is_too_large_or_falls_fails_on_its_own() -> None:
    setup = setup_at(*RANGE, limits=("fine-step", "monotonic"))
    # The law's steps are 11 to 19 %; +1.5 % on one setting makes one step too large and the next too small.
    bent = [reading_of(r, gain_ratio=1.015 if r.setting.fine == 10 else 1.0) for r in setup.rungs]
    result = judged(setup, bent)
    assert [step.outcome for step in result.steps] == [PASS, FAIL, FAIL, PASS]
    assert [step.residual_percent for step in result.steps] == [
        pytest.approx(value, abs=0.03) for value in (0.0, 100 * math.log(1.015), -100 * math.log(1.015), 0.0)
    ]
    assert reasons(result, "fine-step")[0].startswith("ch1 2V 85 % to ch1 2V 70 %: fine-step off by +1.49 percent")
    assert reasons(result, "monotonic") == []
    falls = [reading_of(r, gain_ratio=1.3 if r.setting.fine == 10 else 1.0) for r in setup.rungs]
    said = reasons(judged(setup, falls), "monotonic")
    assert len(said) == 1
    assert said[0].startswith("ch1 2V 70 % to ch1 2V 55 %: gain does not rise (×0.9")


def test_a_fine_step_that_switches_the_pre_gain_is_held_to_the_coarse_row() -> None:
    setup = setup_at(*((1, 5, fine) for fine in (0, 5, 10, 15, 20)), limits=("fine-step", "coarse-step"))
    gains = [r.prediction.state.control("pregain") for r in setup.rungs]
    assert set(gains) == {0, 1}
    # Half a percent of the pre-gain lies within its tolerance; half a percent of a code does not.
    for percent, outcome in ((0.5, PASS), (2.0, FAIL)):
        off = [1.0 + percent / 100.0 * int(gain) for gain in gains]
        result = judged(setup, [reading_of(r, gain_ratio=g) for r, g in zip(setup.rungs, off, strict=True)])
        assert [step.outcome for step in result.steps if step.outcome is not PASS] == [FAIL] * (outcome is FAIL)
    said = reasons(result, "fine-step")[0]
    assert "fine-step off by +1.98 percent, allowed -1.5 to +1.5 percent" in said
    bent = [reading_of(r, gain_ratio=1.005 if r.setting.fine == 5 else 1.0) for r in setup.rungs]
    assert [step.outcome for step in judged(setup, bent).steps].count(FAIL) == 2
    # Without a row for coarse steps its own one holds.
    alone = setup_at(*((1, 5, fine) for fine in (0, 5, 10, 15, 20)), limits=("fine-step",))
    off = [reading_of(r, gain_ratio=1.0 + 0.005 * int(g)) for r, g in zip(alone.rungs, gains, strict=True)]
    assert [step.outcome for step in judged(alone, off).steps].count(FAIL) == 1


def test_coarse_steps_are_judged_at_each_fine_position() -> None:
    setup = setup_at((1, 3, 0), (1, 4, 0), (1, 3, 20), (1, 4, 20), limits=("coarse-step",))
    result = judged(setup, [reading_of(r, gain_ratio=1.02 if r.setting.coarse == 4 else 1.0) for r in setup.rungs])
    assert {claim.setting for claim in result.judgements if claim.item == "coarse-step"} == {
        Setting(1, 4, 0), Setting(1, 4, 20),
    }  # fmt: skip
    assert set(outcomes(result, "coarse-step").values()) == {"FAIL"}


def test_only_the_affected_channel_fails() -> None:
    setup = setup_at(*RANGE, *((2, 3, fine) for fine in (0, 5, 10, 15, 20)))
    result = judged(setup, [reading_of(r, gain_ratio=1.05 if r.setting.channel == 2 else 1.0) for r in setup.rungs])
    assert {row.setting.channel for row in result.settings if row.outcome is FAIL} == {2}
    assert result.candidates[0].fault == "load-resistor-wrong"
    assert "reference-wrong" in result.candidates[0].ambiguous


def test_a_factor_that_all_channels_share_leaves_gains_open_and_nothing_else() -> None:
    setup = setup_at(*RANGE)
    shared = event(SHARED_FACTOR, shared_factor_text(0.944, "shared by 2 channels"))
    readings = [reading_of(rung, gain_ratio=0.944) for rung in setup.rungs]
    assert judged(setup, readings).verdict is FAIL
    open_ = judged(setup, readings, events=[shared])
    assert open_.verdict is INCONCLUSIVE
    assert all("all channels share ×0.944, and the run cannot tell station from" in r for r in reasons(open_, "gain"))
    # Both sides are named.
    names = {name for c in open_.candidates for name in (c.fault, *c.ambiguous)}
    assert {"load-resistor-wrong", "reference-wrong", "pad-wrong"} <= names
    # Checked again since: the last word counts, and none is left after a resumption.
    assert judged(setup, readings, events=[shared, event("resumed", "")]).verdict is FAIL
    # One setting by itself is 5 % off the others: that is the unit's.
    ratios = [0.944 * (0.95 if rung.setting == FIRST else 1.0) for rung in setup.rungs]
    wrong = [reading_of(rung, gain_ratio=ratio) for rung, ratio in zip(setup.rungs, ratios, strict=True)]
    assert judged(setup, wrong, events=[shared]).verdict is FAIL
