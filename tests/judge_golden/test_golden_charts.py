"""A golden unit against its history: closed forms, false alarms, shifts that must be found."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from harness.diagnosis import KNOWN
from harness.errors import MeasureError
from harness.judge.gauge import run_limit_ratio
from harness.judge.golden import common_percent, golden_causes, golden_check, golden_numbers, golden_says
from harness.values import GoldenLook, GoldenNumber, Outcome
from tests.judge.run_builder import judged, reading_of, setup_at

NAMES = ("ln K", "factor 20V", "factor 2V", "noise 20mV")
RUNS = 10


def numbers(*percents):
    return tuple(GoldenNumber(name=name, percent=percent) for name, percent in zip(NAMES, percents, strict=True))


def look(values, outcome=Outcome.PASS, *, reference=False, restart="", common=0.0):
    return GoldenLook(
        unit="G1", station="s", job="j", outcome=outcome, reference=reference, restart=restart, common_percent=common,
        numbers=values, run_id="r", at_utc="2026-11-30T10:00:00+00:00",
    )  # fmt: skip


def built(rng, count=RUNS):
    return [look(numbers(*rng.normal(0.0, (0.05, 0.05, 0.05, 6.0))), reference=True) for _ in range(count)]


def test_the_first_checks_build_the_reference():
    check = golden_check([look(numbers(0, 0, 0, 0), reference=True)] * 2, numbers(9, 9, 9, 9), wanted=3)
    assert (check.outcome, check.rows, check.built, check.wanted) == (Outcome.INCONCLUSIVE, (), 3, 3)


def test_limits_by_closed_form():
    # All alike: only the least scatter of 0.02 % counts, two charts for each of four numbers.
    history = [look(numbers(1, 0, 0, 0), reference=True)] * 4
    (row, *_) = golden_check(history, numbers(1, 0, 0, 0), wanted=4).rows
    reach = 0.02 * run_limit_ratio(8, None)
    assert row.value_high == pytest.approx(1.0 + reach * math.sqrt(1.0 + 1.0 / 4.0))
    # First point: w/(2 - w)·(1 - (1 - w)²) = w² = 0.04, and the mean of four.
    assert row.average_high == pytest.approx(1.0 + reach * math.sqrt(0.04 + 1.0 / 4.0))


@pytest.mark.parametrize(
    ("seen", "names"),
    [
        ((0.5, 0.5, 0.5, 0.0), True),
        ((0.5, 0.45, 0.55, 0.0), True),
        ((0.0, 0.5, 0.2, 0.0), False),  # one range moved more than the other: no level
        ((0.0, 0.0, 0.0, 90.0), False),  # noise alone
        ((0.0, 0.0, 0.0, 0.0), False),
    ],
)
def test_ranges_that_moved_alike_point_to_the_level(seen, names):
    history = [look(numbers(0, 0, 0, 0), reference=True)] * 4
    causes = golden_causes(golden_check(history, numbers(*seen), wanted=4))
    assert bool(causes) is names
    assert all(KNOWN[name].station for name in causes)
    assert causes[:1] == (("reference-meter-drifted",) if names else ())


def test_a_large_shift_is_found_at_once_and_a_small_one_that_stays_soon():
    history = built(np.random.default_rng(1))
    large = golden_check(history, numbers(0.0, 0.9, 0.0, 0.0), wanted=RUNS)
    assert [row.name for row in large.outside] == ["factor 20V"]
    # 0.15 %, three standard deviations: the newest value alone hides in limits for eight charts.
    seen = []
    for index in range(12):
        check = golden_check(history, numbers(0.0, 0.15, 0.0, 0.0), wanted=RUNS)
        seen.append(check.outcome)
        if check.outcome is Outcome.FAIL:
            break
        history.append(look(numbers(0.0, 0.15, 0.0, 0.0)))
        assert index < 11
    assert seen[0] is Outcome.PASS
    assert seen[-1] is Outcome.FAIL


def test_a_station_that_stays_as_it_is_is_left_alone():
    alarms = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        history = built(rng)
        for _ in range(5):
            values = numbers(*rng.normal(0.0, (0.05, 0.05, 0.05, 6.0)))
            alarms += golden_check(history, values, wanted=RUNS).outcome is Outcome.FAIL
            history.append(look(values))
    # Allowed are 0.42 % of 200 checks by the limits, 0.85 in the mean; seven have a chance of 3e-5.
    assert alarms < 7


def test_behind_a_failed_check_the_average_begins_anew():
    history = [*built(np.random.default_rng(3)), look(numbers(0, 5.0, 0, 0), Outcome.FAIL)]
    assert golden_check(history, numbers(0, 0, 0, 0), wanted=RUNS).outcome is Outcome.PASS


def test_a_restart_forgets_what_was_before():
    history = built(np.random.default_rng(3))
    again = [*history, look(numbers(9, 9, 9, 9), reference=True, restart="source repaired")]
    assert golden_check(again, numbers(9, 9, 9, 9), wanted=RUNS).built == 2


def test_what_cannot_be_compared_is_refused():
    history = built(np.random.default_rng(3))
    with pytest.raises(MeasureError, match="factor 2V of the reference was not measured this time"):
        golden_check(history, [n for n in numbers(0, 0, 0, 0) if n.name != "factor 2V"], wanted=RUNS)
    with pytest.raises(MeasureError, match="golden reference of 2 checks; allowed: 3 or more"):
        golden_check([], numbers(0, 0, 0, 0), wanted=2)


def test_a_unit_so_far_off_that_nothing_was_fitted_has_left_its_history():
    history = built(np.random.default_rng(3))
    unfitted = [n for n in numbers(0, -9, -9, 0) if n.name != "ln K"]
    check = golden_check(history, unfitted, wanted=RUNS)
    assert check.outcome is Outcome.FAIL
    assert [row.name for row in check.outside] == ["factor 20V", "factor 2V"]


def test_numbers_of_a_run_by_the_law():
    setup = setup_at(*((channel, coarse, fine) for channel in (1, 2) for coarse in (0, 3) for fine in (0, 10, 20)))
    ratios = {0: 1.02, 3: 0.99}
    result = judged(setup, [reading_of(rung, gain_ratio=ratios[rung.setting.coarse]) for rung in setup.rungs])
    found = {number.name: number.percent for number in golden_numbers(result)}
    # Records are rounded to codes: 0.02 % of a filled converter.
    assert found["factor 20V"] == pytest.approx(100.0 * math.log(1.02), abs=0.02)
    assert found["factor 2V"] == pytest.approx(100.0 * math.log(0.99), abs=0.02)
    assert {"noise 20V", "noise 2V"} <= found.keys()
    common = common_percent(golden_numbers(result))
    assert common == pytest.approx(50.0 * math.log(1.02 * 0.99), abs=0.02)


def test_what_all_ranges_share_against_a_reference():
    assert common_percent(numbers(5, 1, 3, 9), [0.0, 0.5, 0.5, 0.0]) == pytest.approx(1.5)
    assert common_percent([GoldenNumber(name="ln K", percent=1.0)]) is None


SOUND = look(numbers(0, 0, 0, 0))
OFF = look(numbers(0, -9, -9, 0), Outcome.FAIL, common=100.0 * math.log(0.912))


@pytest.mark.parametrize(
    ("seen", "age_h", "whose"),
    [
        (SOUND, 1.0, "unit"),
        (OFF, 1.0, "station"),
        (dataclasses.replace(OFF, common_percent=-2.0), 1.0, None),
        (dataclasses.replace(SOUND, outcome=Outcome.INCONCLUSIVE), 1.0, None),
        (dataclasses.replace(OFF, outcome=Outcome.INVALID, numbers=()), 1.0, None),
        (SOUND, 12.5, None),
        (SOUND, -1.0, None),
        (None, 1.0, None),
    ],
)
def test_a_golden_unit_tells_whose_a_shared_factor_is(seen, age_h, whose):
    said = golden_says(0.91, seen, age_h=age_h, most_h=12.0)
    assert (said and said[0]) == whose


def test_a_check_without_any_number_of_the_reference_is_an_error():
    history = built(np.random.default_rng(2))
    other = (GoldenNumber(name="factor 5V", percent=0.0),)
    with pytest.raises(MeasureError, match="ln K, factor 20V, factor 2V, noise 20mV of the reference was not measured"):
        golden_check(history, other, wanted=RUNS)
