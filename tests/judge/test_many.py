"""Many numbers at once come out as each of them does by itself; a plain pass as a closed form says."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.config import LimitItem
from harness.errors import NotFinite
from harness.judge.limits import fails, judge_number
from harness.judge.many import Asked, judge_numbers
from harness.values import Outcome, Setting

RULES = ("simple", "guarded", "guard-band", "managed")
EDGES = ((-1.0, 1.0), (None, 1.0), (-1.0, None), (-1.0, 0.25))
VALUE = st.one_of(st.floats(-2.0, 2.0), st.sampled_from((-1.0, -0.9, 0.0, 0.9, 1.0)))
DOUBT = st.one_of(st.none(), st.just(0.0), st.floats(1e-6, 3.0), st.sampled_from((0.1, 0.25, 1.0)))


def _limit(rule: str, low: float | None, high: float | None) -> LimitItem:
    guard = 0.1 if rule == "guarded" else 0.0
    return LimitItem(
        item="gain", low=low, high=high, unit="percent", rule=rule, guard=guard, owner="QA", reason="a test"
    )


def _one(asked: Asked):
    named = asked._asdict()
    return judge_number(named.pop("limit"), named.pop("value"), **named)


@given(st.lists(st.tuples(st.integers(0, 15), VALUE, DOUBT), max_size=12))
def test_together_is_as_one_by_one(rows: list[tuple[int, float, float | None]]) -> None:
    limits = [_limit(rule, *edges) for rule in RULES for edges in EDGES]
    asked = [
        Asked(limits[row], value, Setting(1, row, place), f"place {place}", doubt, Setting(1, row, 0), "{value:.3g}")
        for place, (row, value, doubt) in enumerate(rows)
    ]
    assert judge_numbers(asked) == tuple(_one(each) for each in asked)


def test_a_plain_pass_has_the_numbers_of_the_closed_form() -> None:
    (claim,) = judge_numbers([Asked(_limit("guarded", -1.0, 1.0), 0.5, Setting(1, 0, 0), "here", 0.2)])
    assert (claim.outcome, claim.reason, claim.warning) == (Outcome.PASS, "", "")
    assert (claim.guard, claim.margin, claim.tur_ratio) == (0.1, 0.5, 5.0)
    # 5 and 15 standard uncertainties from the limits: what the nearer one leaves of a normal distribution.
    assert claim.conformance_ratio == pytest.approx(1.0 - 0.5 * math.erfc(5.0 / math.sqrt(2.0)), abs=1e-15)


@pytest.mark.parametrize(("value", "doubt"), [(math.nan, 0.1), (math.inf, 0.1), (0.0, -0.1), (0.0, math.inf)])
def test_what_is_no_number_is_met_among_many(value: float, doubt: float) -> None:
    limit = _limit("guarded", -1.0, 1.0)
    asked = [Asked(limit, 0.0, Setting(1, 0, 0), "a", 0.1), Asked(limit, value, Setting(1, 0, 1), "b", doubt)]
    with pytest.raises(NotFinite, match="allowed is a finite number"):
        judge_numbers(asked)


def test_what_has_no_number_to_be_held_against_passes_as_by_itself() -> None:
    limit = LimitItem(item="word", owner="QA", reason="a test", rule="guarded")
    asked = Asked(limit, 0.5, Setting(1, 0, 0), "here", 0.2)
    assert judge_numbers([asked]) == (_one(asked),)
    assert judge_numbers([]) == ()


@pytest.mark.parametrize("rule", RULES)
def test_nothing_within_its_limits_fails_and_nothing_odd_is_within(rule: str) -> None:
    limit = _limit(rule, -1.0, 1.0)
    assert not any(fails(value, limit, expanded=doubt) for value in np.linspace(-1.0, 1.0, 9) for doubt in (None, 0.5))
    assert fails(3.0, limit, expanded=0.1)
    with pytest.raises(NotFinite, match="value is nan"):
        fails(math.nan, limit)
