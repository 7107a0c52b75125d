"""When the mean of several records is certain: quantiles that others published, and errors by simulation."""

import math

import pytest

from harness.errors import NotFinite
from harness.judge.decision.sequential import certain, half_width
from tests.studies.averaging import MOST, trial


@pytest.mark.parametrize(
    ("risk", "most", "quantile"),
    # Of the normal distribution: 97.5 %, 99.5 %, and 98.75 % where two looks share the risk.
    [(0.05, 1, 1.959964), (0.01, 1, 2.575829), (0.05, 2, 2.241403)],
)
def test_one_record_is_as_certain_as_the_normal_distribution_says(risk, most, quantile):
    assert half_width([7.0], stated=2.0, risk=risk, most=most) == pytest.approx(2.0 * quantile, rel=1e-6)


def test_a_mean_is_more_certain_by_the_root_of_its_records():
    values = [0.1, -0.1] * 8
    widths = [half_width(values[:n], stated=0.1, risk=0.001, most=16) for n in (1, 4, 16)]
    assert widths[0] / widths[1] == pytest.approx(2.0)
    assert widths[0] / widths[2] == pytest.approx(4.0)


def test_records_that_scatter_beyond_what_is_stated_are_believed_instead():
    # Student's t, 2 degrees of freedom, 95 %: 2.919986; the deviation of -1, 0, 1 is 1.
    width = half_width([-1.0, 0.0, 1.0], stated=0.01, risk=0.3, most=3)
    assert width == pytest.approx(2.919986 / math.sqrt(3.0), rel=1e-6)
    as_stated = half_width([-0.01, 0.0, 0.01], stated=0.01, risk=0.3, most=3)
    assert as_stated == pytest.approx(1.644854 * 0.01 / math.sqrt(3.0), rel=1e-6)


def test_an_edge_within_the_half_width_leaves_it_open():
    one = {"stated": 0.1, "risk": 0.05, "most": 1}
    assert certain([1.80], (-2.0, 2.0), **one)
    assert not certain([1.81], (-2.0, 2.0), **one)
    assert not certain([2.19], (-2.0, 2.0), **one)
    assert certain([2.20], (-2.0, 2.0), **one)
    assert certain([2.0], (), **one)
    assert certain([2.0], (math.inf,), **one)


@pytest.mark.parametrize(
    ("values", "changes"),
    [
        ([], {}), ([1.0] * 5, {}), ([math.nan], {}), ([1.0], {"stated": 0.0}), ([1.0], {"stated": math.inf}),
        ([1.0], {"risk": 0.0}), ([1.0], {"risk": 1.0}),
    ],
)  # fmt: skip
def test_what_makes_no_test_is_refused(values, changes):
    with pytest.raises(NotFinite, match="allowed: 1 to 4 finite values, a deviation above 0, a risk between 0 and 1"):
        half_width(values, **{"stated": 0.1, "risk": 0.05, "most": 4, **changes})


@pytest.mark.parametrize("truth", [0.0, 1.97, 1.999, 2.001, 2.03])
def test_early_decisions_are_wrong_no_more_often_than_stated(truth):
    risk, runs = 0.05, 400
    found = trial(truth, risk=risk, runs=runs, seed=3)
    assert found["wrong"] <= risk + 3.0 * math.sqrt(risk * (1.0 - risk) / runs)


def test_far_from_the_edges_one_record_is_enough_and_near_them_all_are_taken():
    assert trial(0.0, risk=0.001, runs=100, seed=1) == {"wrong": 0.0, "early": 1.0, "records": 1.0}
    near = trial(2.0001, risk=0.001, runs=50, seed=1)
    assert near["records"] > 0.95 * MOST
