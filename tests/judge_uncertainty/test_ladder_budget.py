import math

import numpy as np
import pytest

from harness.errors import MeasureError, NotFinite
from harness.judge.uncertainty import (
    Budget,
    Contribution,
    LadderBudget,
    Series,
    Shape,
    draw_sum,
    fit_noise,
    reading_accuracy,
    resolution,
    student_factor,
)

REPEAT = Contribution(name="repeatability", value_percent=0.02, shape=Shape.STUDENT, dof=20.0)


def ladder(*, groups=None, dof=math.inf):
    level_series = Series(
        name="range of the source",
        values_percent=np.array([0.1, 0.2, 0.1, 0.4]),
        shape=Shape.RECTANGULAR,
        groups=groups,
    )
    noise = Series(name="fit noise", values_percent=np.array([0.03, 0.03, 0.04, 0.05]), shape=Shape.NORMAL, dof=dof)
    return LadderBudget(fixed=(reading_accuracy("source", 0.3), REPEAT), series=(level_series, noise))


def test_each_reading_is_the_scalar_budget():
    whole = ladder(dof=np.array([10.0, 20.0, 30.0, 40.0]))
    assert whole.size == 4
    for place in range(4):
        budget = whole.at(place)
        assert isinstance(budget, Budget)
        assert [row.name for row in budget.rows()] == ["source", "repeatability", "range of the source", "fit noise"]
        assert whole.absolute().standard_percent[place] == pytest.approx(budget.standard_percent, rel=1e-13)
        assert whole.absolute().dof[place] == pytest.approx(budget.dof, rel=1e-12)
        assert whole.independent().standard_percent[place] == pytest.approx(budget.independent_percent, rel=1e-13)
        expected = budget.expanded_percent(probability_ratio=0.95)
        assert whole.absolute().expanded_percent(probability_ratio=0.95)[place] == pytest.approx(expected, rel=1e-12)
        assert whole.absolute().expanded_percent()[place] == pytest.approx(2 * budget.standard_percent, rel=1e-12)


def test_a_step_forgets_what_is_common():
    step = ladder().steps([0], [2])
    # Equal parts apart: √2·0.1/√3 (range), noise 0.03 and 0.04, √2·0.02; the source's 0.3 % is gone.
    expected = math.sqrt(2 * 0.01 / 3 + 0.05**2 + 2 * 0.02**2)
    assert step.standard_percent[0] == pytest.approx(expected, rel=1e-12)
    independent = ladder().independent().standard_percent
    assert step.standard_percent[0] == pytest.approx(math.hypot(independent[0], independent[2]), rel=1e-12)


def test_readings_on_one_range_share_its_error():
    step = ladder(groups=np.array([1, 1, 1, 2])).steps([0, 0, 2], [1, 2, 3])
    others = [0.03**2 + 0.03**2, 0.03**2 + 0.04**2, 0.04**2 + 0.05**2]
    ranges = [0.1**2 / 3, 0.0, (0.1**2 + 0.4**2) / 3]
    expected = [math.sqrt(a + b + 2 * 0.02**2) for a, b in zip(others, ranges, strict=True)]
    assert step.standard_percent == pytest.approx(expected, rel=1e-12)


def test_a_step_by_drawing():
    rng = np.random.default_rng(17)
    whole = ladder(groups=np.array([1, 1, 2, 2]))
    draws = 400_000

    def own(place):
        return draw_sum(
            [c for c in whole.at(place).contributions if c.name in ("repeatability", "fit noise")], rng, draws=draws
        )

    shared = rng.uniform(-1, 1, draws)
    difference = (own(1) + 0.2 * shared) - (own(0) + 0.1 * shared)
    u = whole.steps([0], [1]).standard_percent[0]
    # Student's repeatability scatters by √(20/18) more than its standard uncertainty; 0.4 % for the draws.
    wider = math.sqrt(u**2 + 2 * 0.02**2 * (20 / 18 - 1))
    assert difference.std() == pytest.approx(wider, rel=0.006)


def test_degrees_of_freedom_of_a_step():
    one = Series(name="a", values_percent=np.array([1.0, 1.0]), shape=Shape.NORMAL, dof=5.0)
    each = Series(name="a", values_percent=np.array([1.0, 1.0]), shape=Shape.NORMAL, dof=np.array([5.0, 5.0]))
    shared = Series(
        name="a",
        values_percent=np.array([1.0, 3.0]),
        shape=Shape.NORMAL,
        dof=np.array([5.0, 7.0]),
        groups=np.array([1, 1]),
    )
    # One pooled estimate stays one; two estimates add.
    assert LadderBudget(fixed=(), series=(one,)).steps([0], [1]).dof[0] == pytest.approx(5.0)
    assert LadderBudget(fixed=(), series=(each,)).steps([0], [1]).dof[0] == pytest.approx(10.0)
    assert LadderBudget(fixed=(), series=(shared,)).steps([0], [1]).dof[0] == pytest.approx(5.0)
    step = LadderBudget(fixed=(), series=(one,)).steps([0], [1])
    factor = float(student_factor(5.0, probability_ratio=0.95))
    assert step.expanded_percent(probability_ratio=0.95)[0] == pytest.approx(factor * math.sqrt(2))


def test_the_worst_reading_stands_for_its_group():
    assert ladder().worst([0, 1, 2]) == 1
    assert ladder().worst([0, 1, 2, 3]) == 3


def test_resolution_and_noise_as_series():
    level = np.array([1.0, 0.01])
    found = resolution("source, resolution", level, step_v=np.array([0.001, 0.001]))
    assert found.values_percent == pytest.approx([0.05, 5.0])
    noise = fit_noise(np.array([100.0, 1000.0]), noise_code=np.array([0.5, 0.5]), samples=1000)
    whole = LadderBudget(fixed=(), series=(found, noise))
    assert whole.independent().standard_percent == pytest.approx(whole.absolute().standard_percent)


def test_arrays_cannot_be_changed_afterwards():
    whole = ladder()
    with pytest.raises(ValueError, match="read-only"):
        whole.series[0].values_percent[0] = 1.0


@pytest.mark.parametrize(
    ("make", "error", "words"),
    [
        (
            lambda: LadderBudget(fixed=(REPEAT,), series=()),
            MeasureError,
            "ladder budget: no series; allowed is at least one",
        ),
        (
            lambda: LadderBudget(
                fixed=(),
                series=tuple(Series(name=f"s{n}", values_percent=np.ones(n), shape=Shape.NORMAL) for n in (1, 2)),
            ),
            MeasureError,
            r"ladder budget: shapes are s1 \(1,\), s2 \(2,\)",
        ),
        (
            lambda: Series(name="s", values_percent=np.ones(2), shape=Shape.NORMAL, dof=np.ones(3)),
            MeasureError,
            r"contribution 's': shapes are values_percent \(2,\), dof \(3,\)",
        ),
        (lambda: Series(name="s", values_percent=-np.ones(2), shape=Shape.NORMAL), NotFinite, "values_percent is -1.0"),
        (lambda: ladder().steps([0], [4]), NotFinite, "steps: an index is 4.0; .* >= 0 and <= 3"),
        (lambda: ladder().steps([0, 1], [2]), MeasureError, r"steps: shapes are lower \(2,\), upper \(1,\)"),
        (lambda: ladder().worst([]), MeasureError, "worst of a group: no reading"),
    ],
)
def test_bad_ladders_are_named(make, error, words):
    with pytest.raises(error, match=words):
        make()


def covariance_of(whole):
    """By hand: common parts everywhere, groups in blocks, all else on the diagonal."""
    matrix = np.zeros((whole.size, whole.size))
    for c in whole.fixed:
        matrix += c.standard_percent**2 * (np.ones_like(matrix) if c.common else np.eye(whole.size))
    for s in whole.series:
        alike = np.eye(whole.size) if s.groups is None else s.groups[:, None] == s.groups[None, :]
        matrix += np.outer(s.standard_percent, s.standard_percent) * alike
    return matrix


def test_weighted_sums_go_through_the_whole_covariance():
    whole = ladder(groups=np.array([1, 1, 1, 2]), dof=np.array([10.0, 20.0, 30.0, 40.0]))
    weights = np.random.default_rng(2).standard_normal((5, 4))
    expected = np.sqrt(np.diag(weights @ covariance_of(whole) @ weights.T))
    assert whole.contrasts(weights).standard_percent == pytest.approx(expected, rel=1e-12)
    chosen = [3, 0]
    some = covariance_of(whole)[np.ix_(chosen, chosen)]
    expected = np.sqrt(np.diag(weights[:, :2] @ some @ weights[:, :2].T))
    assert whole.contrasts(weights[:, :2], chosen).standard_percent == pytest.approx(expected, rel=1e-12)


def test_a_sum_of_one_is_a_gain_and_one_of_two_a_step():
    whole = ladder(groups=np.array([1, 1, 1, 2]), dof=np.array([10.0, 20.0, 30.0, 40.0]))
    alone, gains = whole.contrasts(np.eye(4)), whole.absolute()
    assert alone.standard_percent == pytest.approx(gains.standard_percent, rel=1e-12)
    assert alone.dof == pytest.approx(gains.dof, rel=1e-12)
    for lower, upper in ((0, 1), (1, 3)):
        pair = np.zeros((1, 4))
        pair[0, [lower, upper]] = -1.0, 1.0
        found, step = whole.contrasts(pair), whole.steps([lower], [upper])
        assert found.standard_percent == pytest.approx(step.standard_percent, rel=1e-12)
        assert found.dof == pytest.approx(step.dof, rel=1e-12)


def test_what_readings_share_by_rows():
    whole = ladder(groups=np.array([1, 1, 1, 2]))
    common, rows = whole.shared([0, 1, 3])
    assert common == pytest.approx(0.3 / math.sqrt(3))
    assert rows == pytest.approx(np.array([[0.1, 0.2, 0.0], [0.0, 0.0, 0.4]]) / math.sqrt(3))
    assert ladder().shared([0, 1])[1].shape == (0, 2)


@pytest.mark.parametrize(
    ("weights", "places", "error", "said"),
    [
        (np.ones(4), None, MeasureError, r"weights of shape \(4,\); allowed is \(m, 4\)"),
        (np.ones((1, 3)), None, MeasureError, r"weights of shape \(1, 3\)"),
        (np.array([[np.nan, 0.0]]), [0, 1], NotFinite, "a weight is nan"),
        (np.ones((1, 1)), [4], NotFinite, "an index is 4"),
    ],
)
def test_sums_of_nonsense_are_refused(weights, places, error, said):
    with pytest.raises(error, match=said):
        ladder().contrasts(weights, places)


def test_readings_that_repeat_by_one_pooled_estimate_do_not_make_it_better_known():
    size = np.array([0.1, 0.1, 0.1, 0.2, 0.2])
    dof = np.array([8.0, 8.0, 8.0, 5.0, 5.0])
    pooled = Series(name="repeatability", values_percent=size, shape=Shape.NORMAL, dof=dof)
    whole = LadderBudget(fixed=(), series=(pooled,))
    assert whole.contrasts(np.array([[0.5, -0.2, 1.0, 0.0, 0.0]])).dof == pytest.approx([8.0])
    # Two estimates: Welch and Satterthwaite over the two.
    parts = np.array([3 * 0.1**2, 2 * 0.2**2])
    expected = parts.sum() ** 2 / (parts[0] ** 2 / 8.0 + parts[1] ** 2 / 5.0)
    assert whole.contrasts(np.ones((1, 5))).dof == pytest.approx([expected])
