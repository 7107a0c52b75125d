import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.errors import FitFailed, MeasureError, NotFinite
from harness.judge.uncertainty import (
    Contribution,
    Shape,
    coverage_interval,
    draw,
    draw_sum,
    fit_line,
    nested,
    observed,
    propagate,
    repeatability,
    second_order_standard,
    shape_factor,
    standard_ratio,
)


def test_a_gain_in_percent_adds_its_parts():
    # ln of a product: 100·ln G = 100·(ln A - ln V + ln pad); relative uncertainties add in squares.
    result = propagate(
        lambda x: np.array([100 * math.log(x[0] / (x[1] * x[2]))]),
        np.array([1500.0, 0.3, 0.01]),
        covariance=np.diag(np.array([0.5, 0.0003, 0.00001]) ** 2),
    )
    expected = 100 * math.sqrt((0.5 / 1500) ** 2 + 0.001**2 + 0.001**2)
    assert result.standard[0] == pytest.approx(expected, rel=1e-8)
    assert result.components[:, 0] == pytest.approx([100 * 0.5 / 1500, 0.1, 0.1], rel=1e-8)


def test_full_correlation_cancels_in_a_ratio():
    covariance = 0.01**2 * np.array([[1.0, 2.0], [2.0, 4.0]])
    result = propagate(lambda x: x[:1] / x[1:], np.array([1.0, 2.0]), covariance=covariance)
    assert result.standard[0] == pytest.approx(0.0, abs=1e-9)


def test_an_exact_input_has_a_sensitivity_and_no_share():
    result = propagate(
        lambda x: np.array([x[0] ** 2 * x[1], 7.0]), np.array([3.0, 2.0]), covariance=np.diag([0.0, 0.01])
    )
    assert result.sensitivities[0] == pytest.approx([12.0, 9.0], rel=1e-7)
    assert result.standard == pytest.approx([0.9, 0.0], abs=1e-9)
    assert result.correlation[0, 1] == 0.0


def test_second_order_of_a_square_and_of_a_cube():
    # x² at 0: variance 2u⁴. x³: ½·36x²u⁴ + 3x²·6·u⁴ = 36x²u⁴ (JCGM 100:2008, 5.1.2 note; x³ has f''' = 6).
    square = second_order_standard(lambda x: x**2, np.array([0.0]), standard=np.array([0.1]))
    assert square == pytest.approx(math.sqrt(2) * 0.01, rel=1e-9)
    cube = second_order_standard(lambda x: x**3, np.array([2.0]), standard=np.array([0.01]))
    assert cube == pytest.approx(6 * 2.0 * 0.01**2, rel=1e-5)  # the step is one u, not zero
    # x·y² at y = 1: Σ has cross terms f_xy²/2 twice and f_x·f_xyy once.
    mixed = second_order_standard(lambda x: x[:1] * x[1:] ** 2, np.array([3.0, 1.0]), standard=np.array([0.1, 0.1]))
    by_hand = (4 * 1 + 0.5 * 6**2 + 2 * 1) * 1e-4
    assert mixed == pytest.approx(math.sqrt(by_hand), rel=1e-6)


def test_negative_second_order_variance_counts_as_none():
    # sin at 0.3 u: f·f''' < 0 outweighs the square.
    assert second_order_standard(np.sin, np.array([0.3]), standard=np.array([0.1])) == 0.0


SHAPES = [
    (Shape.NORMAL, 0.0),
    (Shape.RECTANGULAR, 0.0),
    (Shape.TRIANGULAR, 0.0),
    (Shape.ARCSINE, 0.0),
    (Shape.TRAPEZOID, 0.6),
]


@pytest.mark.parametrize(("shape", "beta"), SHAPES)
def test_draws_have_the_standard_uncertainty_and_the_coverage_of_their_shape(shape, beta):
    contribution = Contribution(name="x", value_percent=0.7, shape=shape, beta_ratio=beta)
    drawn = draw(contribution, np.random.default_rng(3), draws=400_000)
    u = 0.7 * standard_ratio(shape, beta_ratio=beta)
    assert contribution.standard_percent == pytest.approx(u)
    assert drawn.std() == pytest.approx(u, rel=0.005)
    assert drawn.mean() == pytest.approx(0.0, abs=4 * u / math.sqrt(400_000))
    k = shape_factor(shape, probability_ratio=0.9, beta_ratio=beta)
    assert np.mean(np.abs(drawn) <= k * u) == pytest.approx(0.9, abs=0.003)


def test_student_draws():
    few = Contribution(name="x", value_percent=1.0, shape=Shape.STUDENT, dof=5.0)
    assert draw(few, np.random.default_rng(4), draws=400_000).std() == pytest.approx(math.sqrt(5 / 3), rel=0.02)
    exact = Contribution(name="x", value_percent=1.0, shape=Shape.STUDENT)
    assert draw(exact, np.random.default_rng(4), draws=400_000).std() == pytest.approx(1.0, rel=0.01)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_stated_interval_holds_the_share_it_says(seed):
    # Normal-dominated budget: k = 2 holds 95.45 %; standard error of 400 000 draws 0.03 %.
    parts = [
        Contribution(name="a", value_percent=0.2, shape=Shape.NORMAL),
        *[Contribution(name="b", value_percent=0.1, shape=Shape.RECTANGULAR)] * 3,
    ]
    samples = draw_sum(parts, np.random.default_rng(seed), draws=400_000)
    u = math.sqrt(sum(c.standard_percent**2 for c in parts))
    assert np.mean(np.abs(samples) <= 2 * u) == pytest.approx(0.9545, abs=0.004)


def test_intervals_of_known_draws():
    samples = np.arange(101.0)
    assert coverage_interval(samples, probability_ratio=0.9) == (5.0, 96.0)
    skew = np.linspace(0, 1, 10_001) ** 2
    low, high = coverage_interval(skew, probability_ratio=0.5, shortest=True)
    assert (low, high) == pytest.approx((0.0, 0.25), abs=1e-3)


def test_repeatability_of_duplicates():
    found = repeatability(np.array([0.03, -0.04, 0.0, 0.05]))
    assert found.value_percent == pytest.approx(math.sqrt((9 + 16 + 25) / 4) * 0.01 / 2)
    assert (found.dof, found.common, found.shape) == (4.0, False, Shape.STUDENT)
    single = repeatability(np.array([0.03, -0.04, 0.0, 0.05]), readings=1)
    assert single.value_percent == pytest.approx(found.value_percent * math.sqrt(2))


def test_repeatability_finds_the_scatter():
    rng = np.random.default_rng(11)
    up, down = rng.normal(0, 0.05, (2, 50_000))
    assert repeatability(up - down, readings=1).value_percent == pytest.approx(0.05, rel=0.01)
    assert repeatability(up - down).value_percent == pytest.approx(np.std((up + down) / 2), rel=0.02)


def test_nested_scatter_against_drawn_groups():
    rng = np.random.default_rng(21)
    groups, count = 4000, 6
    values = rng.normal(0, 0.3, (groups, 1)) + rng.normal(0, 0.2, (groups, count))
    found = nested(values.mean(axis=1), deviations=values.std(axis=1, ddof=1), count=count)
    assert found.within == pytest.approx(0.2, rel=0.02)
    assert found.between == pytest.approx(0.3, rel=0.04)
    assert found.f_ratio > found.critical_ratio(probability_ratio=0.999)
    same = nested(np.array([1.0, 1.0]), deviations=np.array([0.1, 0.1]), count=5)
    assert (same.between, same.f_ratio) == (0.0, 0.0)


@settings(max_examples=50)
@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(-10, 10))
def test_a_line_through_exact_points(intercept, slope, origin):
    x = np.array([0.0, 1.0, 2.0, 5.0])
    line = fit_line(x, intercept + slope * (x - origin), origin=origin)
    assert line.intercept == pytest.approx(intercept, abs=1e-9)
    assert line.slope == pytest.approx(slope, abs=1e-9)
    assert line.residual == pytest.approx(0.0, abs=1e-9)


def test_a_line_against_the_normal_equations():
    rng = np.random.default_rng(31)
    x, y = rng.uniform(0, 10, 20), rng.normal(0, 1, 20)
    line = fit_line(x, y, origin=2.5)
    design = np.stack((np.ones(20), x - 2.5), axis=1)
    solved, residual, _, _ = np.linalg.lstsq(design, y, rcond=None)
    assert [line.intercept, line.slope] == pytest.approx(solved)
    assert line.covariance == pytest.approx(np.linalg.inv(design.T @ design) * residual[0] / 18)


def test_observed_means_against_numpy():
    sets = np.random.default_rng(41).normal(0, 1, (12, 3))
    found = observed(sets)
    assert found.covariance == pytest.approx(np.cov(sets.T) / 12)
    assert (found.dof, found.means.tolist()) == (11, pytest.approx(sets.mean(axis=0)))


def identity(x):
    return x


@pytest.mark.parametrize(
    ("make", "error", "words"),
    [
        (
            lambda: propagate(identity, np.ones(2), covariance=np.ones((2, 3))),
            MeasureError,
            r"propagation: covariance of shape \(2, 3\); allowed is a symmetric matrix of shape \(2, 2\)",
        ),
        (lambda: propagate(identity, np.ones(2), covariance=np.array([[1, 0.5], [0, 1]])), MeasureError, "symmetric"),
        (lambda: propagate(identity, np.ones(1), covariance=-np.ones((1, 1))), NotFinite, "a variance is -1.0"),
        (lambda: propagate(lambda x: x * np.nan, np.ones(1), covariance=np.ones((1, 1))), NotFinite, "a result is nan"),
        (
            lambda: second_order_standard(identity, np.ones(1), standard=np.zeros(1)),
            NotFinite,
            "second order: standard is 0.0; allowed is a finite number > 0",
        ),
        (lambda: repeatability(np.array([])), MeasureError, "repeatability: no setting was read both ways"),
        (lambda: repeatability(np.array([np.nan])), NotFinite, "up_down_percent is nan"),
        (
            lambda: nested(np.ones(1), deviations=np.ones(1), count=5),
            MeasureError,
            "nested scatter: 1 groups, variance within 1; allowed are 2 groups that scatter",
        ),
        (lambda: nested(np.ones(2), deviations=np.ones(2), count=1), NotFinite, "count is 1.0; .* >= 2"),
        (lambda: observed(np.ones((1, 3))), MeasureError, r"shape is \(1, 3\); allowed is \(sets, quantities\)"),
        (lambda: fit_line(np.ones(3), np.ones(3)), FitFailed, "line: 3 points, spread 0; allowed are 3 points or more"),
        (lambda: fit_line(np.array([]), np.array([])), FitFailed, "line: 0 points"),
        (lambda: coverage_interval(np.ones(1)), MeasureError, "coverage interval: 1 draws; allowed are 2 or more"),
        (lambda: draw_sum([], np.random.default_rng(1), draws=0), NotFinite, "Monte Carlo: draws is 0.0; .* >= 1"),
    ],
)
def test_bad_arguments_are_named(make, error, words):
    with pytest.raises(error, match=words):
        make()
