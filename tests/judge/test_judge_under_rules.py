"""The same readings under other limits and rules: nothing is measured twice, nothing is pretended."""

from __future__ import annotations

from harness.app.run import judge_of
from harness.judge import LimitSet
from harness.values import Outcome
from tests.judge.run_builder import FULL, healthy
from tests.studies.false_fail import under


def numbers(rule: str) -> LimitSet:
    return under(FULL.limits, rule)


def test_another_set_of_limits_judges_the_same_readings() -> None:
    judge = judge_of(FULL)
    for rung in FULL.rungs:
        judge.take(healthy(rung))
    rows = [
        (name, row.model_copy(update={"low": 5.0, "high": 6.0, "guard": 0.0}) if name == "gain" else row)
        for name, row in FULL.limits.rows
    ]
    other = judge.under(LimitSet(rows, coarse_names=FULL.limits.coarse_names))
    assert other.result().verdict is Outcome.FAIL
    assert judge.result().verdict is Outcome.PASS
    other.take(healthy(FULL.rungs[0]))
    assert [row.attempts for row in judge.result().settings[:1]] == [2]
    assert [row.attempts for row in other.result().settings[:1]] == [3]


def test_a_progress_line_does_not_wait_for_the_budget_of_the_run() -> None:
    judge = judge_of(FULL).under(numbers("managed"))
    assert {judge.take(healthy(rung)) for rung in FULL.rungs[:5]} == {Outcome.PASS}


def test_a_scoped_row_is_judged_where_it_holds_and_nowhere_else() -> None:
    gain = FULL.limits["gain"]
    tight = gain.model_copy(update={"low": 5.0, "high": 6.0, "guard": 0.0, "channels": (2,), "coarse": ("10mV",)})
    limits = LimitSet((*FULL.limits.rows, ("gain", tight)), coarse_names=FULL.limits.coarse_names)
    judge = judge_of(FULL).under(limits)
    for rung in FULL.rungs:
        judge.take(healthy(rung))
    failed = [row.setting for row in judge.result().settings if row.outcome is Outcome.FAIL]
    assert failed == [s.setting for s in judge.result().settings if (s.setting.channel, s.setting.coarse) == (2, 10)]
    assert len(failed) == 5
