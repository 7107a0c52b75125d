import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import beta, binomtest, multivariate_normal

from harness.errors import NotFinite
from harness.judge.decision import (
    DECISION_RULES,
    Process,
    Request,
    conformance_probability,
    consumer_risk,
    decide_by,
    global_risk,
    guard_factor,
    normal_process,
    rule_risk,
    share_interval,
)
from harness.values import Outcome


def by_bivariate_normal(*, deviation, standard, edge):
    """False accepts by another way: truth and reading are jointly normal, the corners of their distribution."""
    total = math.hypot(deviation, standard)
    joint = multivariate_normal([0, 0], [[deviation**2, deviation**2], [deviation**2, total**2]])

    def below(truth, read):
        return joint.cdf([truth, read])

    # Truth below -1 and reading within ±edge, twice by symmetry.
    return 2 * (below(-1.0, edge) - below(-1.0, -edge))


@pytest.mark.parametrize(
    ("cpk", "tur", "rule"), [(1.0, 4.0, "managed"), (0.67, 2.0, "simple"), (0.67, 1.5, "guard-band")]
)
def test_false_accepts_by_the_bivariate_normal(cpk, tur, rule):
    edge = 1 - DECISION_RULES[rule](Request(expanded=1 / tur, low=-1.0, high=1.0))
    expected = by_bivariate_normal(deviation=1 / (3 * cpk), standard=0.5 / tur, edge=edge)
    assert rule_risk(rule, cpk_ratio=cpk, tur_ratio=tur).false_accept_ratio == pytest.approx(expected, abs=2e-7)


def test_rates_by_drawing():
    rng = np.random.default_rng(106)
    truth = rng.normal(0.2, 0.5, 400_000)
    read = truth + rng.normal(0.0, 0.2, truth.size)
    accepted, good = np.abs(read) <= 0.8, np.abs(truth) <= 1.0
    risk = global_risk(
        normal_process(mean=0.2, deviation=0.5), standard=0.2, limits=(-1.0, 1.0), acceptance=(-0.8, 0.8)
    )
    # Standard error of a share near 0.1 of 400 000 draws: 0.05 %; 4 of them.
    assert np.mean(accepted) == pytest.approx(risk.accepted_ratio, abs=0.003)
    assert np.mean(accepted & ~good) == pytest.approx(risk.false_accept_ratio, abs=0.0005)
    assert np.mean(~accepted & good) == pytest.approx(risk.false_reject_ratio, abs=0.002)
    assert np.mean(~good) == pytest.approx(risk.bad_ratio, abs=0.002)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(sorted(DECISION_RULES)), st.floats(0.3, 2.0), st.floats(1.0, 1e5))
def test_shares_add_up(rule, cpk, tur):
    risk = rule_risk(rule, cpk_ratio=cpk, tur_ratio=tur)
    good_accepted = risk.accepted_ratio - risk.false_accept_ratio
    assert good_accepted + risk.false_reject_ratio + risk.bad_ratio == pytest.approx(1.0, abs=1e-10)
    assert 0.0 <= risk.false_accept_ratio <= risk.bad_ratio + 1e-15
    assert risk.bad_ratio == pytest.approx(math.erfc(3 * cpk / math.sqrt(2)), rel=1e-6)


def test_a_sharp_process_under_a_dull_measurement_and_the_other_way_round():
    dull = global_risk(
        normal_process(mean=0.0, deviation=1e-4), standard=1.0, limits=(-1.0, 1.0), acceptance=(-1.0, 1.0)
    )
    assert dull.accepted_ratio == pytest.approx(math.erf(1 / math.sqrt(2)), abs=1e-7)
    sharp = global_risk(
        normal_process(mean=0.0, deviation=1.0), standard=1e-6, limits=(-1.0, 1.0), acceptance=(-1.0, 1.0)
    )
    assert sharp.accepted_ratio == pytest.approx(math.erf(1 / math.sqrt(2)), abs=1e-9)


def test_nothing_is_accepted_below_a_tur_of_one():
    risk = rule_risk("simple", cpk_ratio=1.0, tur_ratio=0.9)
    assert (risk.accepted_ratio, risk.false_accept_ratio, risk.bad_among_accepted_ratio) == (0.0, 0.0, 0.0)
    assert risk.false_reject_ratio == pytest.approx(1 - risk.bad_ratio, abs=1e-12)
    assert decide_by("simple", 0.0, Request(expanded=1 / 0.9, low=-1.0, high=1.0)).outcome is not Outcome.PASS


def test_the_fixed_and_the_following_guard_band_agree():
    following = rule_risk("guard-band", cpk_ratio=0.67, tur_ratio=4.0, share_ratio=0.5)
    assert rule_risk("guarded", cpk_ratio=0.67, tur_ratio=4.0, guard=0.125) == following


def test_conformance_of_many_readings_at_once():
    readings = np.array([0.0, 1.0, 2.0])
    p = conformance_probability(readings, standard=0.5, low=-1.0, high=1.0)
    assert p == pytest.approx([0.9544997, 0.4999683, 0.0227501], abs=1e-7)
    assert consumer_risk(readings, standard=0.5, low=-1.0, high=1.0) == pytest.approx(1 - p)
    assert conformance_probability(readings, standard=np.array([1.0, 2.0, 3.0])).tolist() == [1.0, 1.0, 1.0]


def test_guard_factor_is_the_inverse_of_the_conformance():
    z = guard_factor(0.975)
    assert z == pytest.approx(1.959964, abs=1e-6)
    assert float(conformance_probability(5.0 - z * 0.3, standard=0.3, high=5.0)) == pytest.approx(0.975, abs=1e-12)


@pytest.mark.parametrize(("events", "trials"), [(0, 100), (1, 1000), (7, 20), (20, 20)])
def test_share_interval_against_the_library(events, trials):
    expected = binomtest(events, trials).proportion_ci(0.95, method="exact")
    assert share_interval(events, trials=trials) == pytest.approx((expected.low, expected.high), abs=1e-12)
    upper = 1.0 if events == trials else beta.ppf(0.95, events + 1, trials - events)
    assert share_interval(events, trials=trials, two_sided=False)[1] == pytest.approx(upper, abs=1e-12)


def test_no_failure_of_100_is_below_3_percent():
    # Common practice: 0 of 100 means < 3 % (one-sided, 95 %): 1 - 0.05^(1/100) = 2.951 %.
    bound = share_interval(0, trials=100, two_sided=False)[1]
    assert bound == pytest.approx(1 - 0.05**0.01, rel=1e-12)
    assert bound < 0.03


def flat(truth):
    return np.ones_like(truth)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: normal_process(mean=0.0, deviation=0.0), "normal process: deviation is 0.0; .* > 0"),
        (lambda: normal_process(mean=math.nan, deviation=1.0), "normal process: mean is nan"),
        (lambda: rule_risk("simple", cpk_ratio=0.0, tur_ratio=4.0), "risk of a rule: cpk_ratio is 0.0"),
        (lambda: rule_risk("simple", cpk_ratio=1.0, tur_ratio=-4.0), "risk of a rule: tur_ratio is -4.0"),
        (
            lambda: global_risk(normal_process(mean=0, deviation=1), standard=0.1, limits=(1.0, -1.0), acceptance=None),
            r"global risk: limits \(1.0, -1.0\) within \(-9.0, 9.0\); allowed are intervals, lower end first",
        ),
        (
            lambda: global_risk(
                Process(density=flat, support=(0.0, 1.0), scale=0.0), standard=0.1, limits=(0.0, 1.0), acceptance=None
            ),
            "the scale of the process is 0.0",
        ),
        (lambda: conformance_probability(1.0, standard=0.0, high=2.0), "conformance probability: standard is 0.0"),
        (lambda: conformance_probability(1.0, standard=1.0, high=math.nan), "conformance probability: high is nan"),
        (lambda: guard_factor(1.0), "guard factor: probability_ratio is 1.0"),
        (
            lambda: share_interval(3, trials=2),
            "share interval: events is 3.0; allowed is a finite number >= 0 and <= 2",
        ),
        (lambda: share_interval(0, trials=0), "share interval: trials is 0.0"),
        (lambda: share_interval(0.5, trials=2), "0.5 events of 2 trials; allowed are whole numbers"),
    ],
)
def test_bad_arguments_are_named(make, words):
    with pytest.raises(NotFinite, match=words):
        make()
