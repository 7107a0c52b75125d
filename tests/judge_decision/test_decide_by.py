import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import NotFinite
from harness.judge.decision import DECISION_RULES, GOOD_TUR_RATIO, Request, decide_by
from harness.values import Outcome

PASS, FAIL, GREY = Outcome.PASS, Outcome.FAIL, Outcome.INCONCLUSIVE


def request(expanded=0.4, low=-2.0, high=2.0, **more):
    return Request(expanded=expanded, low=low, high=high, **more)


# Closed forms, T = 2, U = 0.4 (TUR 5) or 1.0 (TUR 2): w = 0; 0.3 as stated; r·U;
# U·max(0, 1.04 - exp(0.38 ln TUR - 0.54)).
@pytest.mark.parametrize(
    ("rule", "asked", "guard"),
    [
        ("simple", request(), 0.0),
        ("guarded", request(guard=0.3), 0.3),
        ("guard-band", request(), 0.4),
        ("guard-band", request(share_ratio=0.5), 0.2),
        ("managed", request(), 0.0),
        ("managed", request(expanded=1.0), 1.04 - 2**0.38 * math.exp(-0.54)),
        ("managed", request(expanded=0.0), 0.0),
        ("managed", request(high=None), 0.4),
    ],
)
def test_guard_band_of_each_rule(rule, asked, guard):
    decision = decide_by(rule, 0.0, asked)
    assert decision.guard == pytest.approx(guard, abs=1e-12)
    assert decision.rule == rule


@pytest.mark.parametrize(
    ("rule", "value", "outcome"),
    [
        ("simple", 2.0, PASS), ("simple", 2.0001, FAIL), ("simple", -2.0001, FAIL),
        ("guard-band", 1.6, PASS), ("guard-band", 1.61, GREY), ("guard-band", -1.61, GREY), ("guard-band", 2.39, GREY),
        ("guard-band", 2.41, FAIL), ("guard-band", -2.41, FAIL),
        ("guarded", 1.69, PASS), ("guarded", 1.71, GREY), ("guarded", 2.31, FAIL),
        ("managed", 1.99, PASS), ("managed", 2.01, FAIL),
    ],
)  # fmt: skip
def test_zones(rule, value, outcome):
    assert decide_by(rule, value, request(guard=0.3)).outcome is outcome


def test_limits_of_acceptance_and_rejection_are_said():
    decision = decide_by("guard-band", 1.7, request())
    assert decision.acceptance == pytest.approx((-1.6, 1.6))
    assert decision.rejection == pytest.approx((-2.4, 2.4))
    assert decision.margin == pytest.approx(0.3)
    assert decision.tur_ratio == pytest.approx(5.0)
    assert decision.warning == ""
    assert decision.reason == "+1.7, allowed -2 to +2: within the guard band of 0.4"
    assert decide_by("guard-band", 0.0, request()).reason == ""
    assert decide_by("guard-band", 3.0, request()).reason == "+3, allowed -2 to +2"


def test_one_sided_limits():
    high = decide_by("guard-band", -1e9, request(low=None))
    assert (high.outcome, high.tur_ratio, high.warning) == (PASS, None, "")
    assert high.acceptance == (-math.inf, pytest.approx(1.6))
    low = decide_by("guard-band", -3.0, request(high=None))
    assert (low.outcome, low.reason) == (FAIL, "-3, allowed at least -2")
    assert decide_by("simple", 2.5, request(low=None)).reason == "+2.5, allowed at most +2"


def test_a_warning_below_a_tur_of_four():
    assert decide_by("simple", 0.0, request(expanded=0.5)).warning == ""
    assert decide_by("simple", 0.0, request(expanded=0.8)).warning == "TUR 2.5 (limit over U = 0.8) is below 4"
    assert "mend it, not the limit" in decide_by("simple", 0.0, request(expanded=4.0)).warning
    assert GOOD_TUR_RATIO == 4.0


@pytest.mark.parametrize("rule", list(DECISION_RULES))
def test_no_rule_pretends_below_a_tur_of_one(rule):
    weak = request(expanded=2.5)
    for value in (0.0, 1.9, -2.1, 4.4):
        decision = decide_by(rule, value, weak)
        assert decision.outcome is GREY
        assert decision.acceptance is None
        assert "no power to decide (U = 2.5, TUR below 1)" in decision.reason
    assert decide_by(rule, 4.6, weak).outcome is FAIL
    assert decide_by(rule, -4.6, weak).outcome is FAIL


def test_a_guard_band_wider_than_the_limit_leaves_nothing_to_accept():
    decision = decide_by("guarded", 0.0, request(guard=2.5))
    assert (decision.outcome, decision.acceptance) == (GREY, None)
    assert decide_by("guarded", 4.6, request(guard=2.5)).outcome is FAIL


def test_no_uncertainty_is_an_infinite_tur():
    for rule in DECISION_RULES:
        decision = decide_by(rule, 2.0, request(expanded=0.0))
        assert (decision.outcome, decision.tur_ratio) == (PASS, math.inf)


@given(st.sampled_from(sorted(DECISION_RULES)), st.floats(-10, 10), st.floats(0, 3), st.floats(0, 3))
def test_more_uncertainty_never_turns_a_decision_round(rule, value, small, more):
    sure = decide_by(rule, value, request(expanded=small, guard=small)).outcome
    unsure = decide_by(rule, value, request(expanded=small + more, guard=small + more)).outcome
    assert {sure, unsure} != {PASS, FAIL}


@given(st.sampled_from(sorted(DECISION_RULES)), st.floats(-10, 10), st.floats(0, 5))
def test_mirrored_limits_give_mirrored_decisions(rule, value, expanded):
    one = decide_by(rule, value, request(expanded=expanded, low=-1.0, high=2.0))
    other = decide_by(rule, -value, request(expanded=expanded, low=-2.0, high=1.0))
    assert (one.outcome, one.guard) == (other.outcome, other.guard)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (
            lambda: decide_by("simple", math.nan, request()),
            "value is nan; allowed is a finite number: a bad reading is INVALID",
        ),
        (lambda: request(expanded=-1.0), "decision: expanded is -1.0; allowed is a finite number >= 0"),
        (lambda: request(guard=math.inf), "decision: guard is inf"),
        (lambda: request(share_ratio=-0.1), "decision: share_ratio is -0.1"),
        (lambda: request(low=2.0), "decision: limits are 2.0 and 2.0; allowed is one finite limit, or low < high"),
        (lambda: request(low=None, high=None), "decision: limits are None and None"),
        (lambda: request(low=math.nan), "decision: limits are nan and 2.0"),
    ],
)
def test_bad_requests_are_named(make, words):
    with pytest.raises(NotFinite, match=words):
        make()


def test_an_unknown_rule_is_a_missing_key():
    with pytest.raises(KeyError, match="generous"):
        decide_by("generous", 0.0, request())
