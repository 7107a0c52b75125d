"""What has changed between two runs: closed forms on made-up rows."""

from __future__ import annotations

import dataclasses
import math

import pytest

from harness.judge import compare_runs
from harness.values import Outcome, RunResult, Setting
from tests.judge.run_builder import healthy, judged, reading_of, setup_at

PLACES = tuple((1, 3, fine) for fine in (0, 5, 10, 15))
SETUP = setup_at(*PLACES)


def run_at(ratio: float, fine: int) -> RunResult:
    readings = [reading_of(r, gain_ratio=ratio) if r.setting.fine == fine else healthy(r) for r in SETUP.rungs]
    return judged(SETUP, readings)


def stated(result: RunResult, *, own: float | None, expanded: float | None) -> RunResult:
    rows = [dataclasses.replace(row, own_percent=own, expanded_percent=expanded) for row in result.settings]
    return dataclasses.replace(result, settings=tuple(rows))


def test_a_gain_that_moved_is_its_logarithm_and_flips() -> None:
    now, before = run_at(1.05, 5), run_at(1.0, 5)
    changes = {one.setting: one for one in compare_runs(now, before, same_source=True).changes}
    moved = changes[Setting(1, 3, 5)]
    assert moved.change_percent == pytest.approx(100.0 * math.log(1.05), abs=2e-3)
    assert (moved.earlier, moved.later) == (Outcome.PASS, Outcome.FAIL)
    residuals = (moved.later_percent or 0.0) - (moved.earlier_percent or 0.0)
    assert moved.change_percent == pytest.approx(residuals, abs=1e-9)
    assert max(abs(one.change_percent or 0.0) for at, one in changes.items() if at.fine != 5) < 2e-3


def test_the_uncertainty_is_that_of_what_does_not_cancel() -> None:
    now, before = (stated(run_at(ratio, 5), own=0.3, expanded=5.0) for ratio in (1.006, 1.0))
    # Root of the sum of squares: 0.424 % of the own parts, 7.07 % of the whole; 0.598 % is more than the first alone.
    same = {one.setting.fine: one for one in compare_runs(now, before, same_source=True).changes}
    other = {one.setting.fine: one for one in compare_runs(now, before, same_source=False).changes}
    assert same[5].expanded_percent == pytest.approx(0.3 * math.sqrt(2.0))
    assert other[5].expanded_percent == pytest.approx(5.0 * math.sqrt(2.0))
    assert (same[5].moved, same[0].moved, other[5].moved) == (True, False, False)


def test_what_is_not_known_is_not_compared() -> None:
    now = stated(run_at(1.05, 5), own=None, expanded=None)
    gone = dataclasses.replace(now.settings[0], measured_codes_per_v=None, own_percent=0.1)
    now = dataclasses.replace(now, settings=(gone, *now.settings[1:3]))
    before = run_at(1.0, 5)
    comparison = compare_runs(now, before, same_source=True)
    assert (len(comparison.changes), comparison.only_now, comparison.only_before) == (3, 0, 1)
    assert comparison.changes[0].change_percent is None
    assert {one.expanded_percent for one in comparison.changes[1:]} == {None}
    assert not any(one.moved for one in comparison.changes)
