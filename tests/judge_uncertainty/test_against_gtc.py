"""The closed-form budget against the GTC library (a reference implementation of the GUM) on the same inputs."""

import math

import numpy as np
import pytest

from harness.judge.uncertainty import (
    Budget,
    Contribution,
    LadderBudget,
    Series,
    Shape,
    observed,
    propagate,
    student_factor,
)

gtc = pytest.importorskip("GTC")

PARTS = (
    Contribution(name="source", value_percent=0.3, shape=Shape.RECTANGULAR, common=True),
    Contribution(name="pad", value_percent=0.115, shape=Shape.NORMAL, dof=60.0, common=True),
    Contribution(name="mismatch", value_percent=0.05, shape=Shape.ARCSINE, common=True),
    Contribution(name="wiring", value_percent=0.08, shape=Shape.TRAPEZOID, beta_ratio=0.33, common=True),
    Contribution(name="resolution", value_percent=0.1, shape=Shape.TRIANGULAR),
    Contribution(name="repeatability", value_percent=0.06, shape=Shape.STUDENT, dof=4.0),
    Contribution(name="noise", value_percent=0.12, shape=Shape.NORMAL, dof=9.0),
)


def quantity(contribution):
    """The contribution as the library knows it, by the library's own conversion of half widths where it has one."""
    kind = {
        Shape.RECTANGULAR: lambda a: gtc.type_b.uniform(a),
        Shape.TRIANGULAR: lambda a: gtc.type_b.triangular(a),
        Shape.ARCSINE: lambda a: gtc.type_b.arcsine(a),
    }.get(contribution.shape, lambda _: contribution.standard_percent)
    return gtc.ureal(0.0, float(kind(contribution.value_percent)), contribution.dof, label=contribution.name)


def test_budget():
    budget = Budget(contributions=PARTS)
    total = sum(quantity(c) for c in PARTS)
    assert budget.standard_percent == pytest.approx(gtc.uncertainty(total), rel=1e-12)
    assert budget.dof == pytest.approx(gtc.dof(total), rel=1e-9)
    shares = {row.label: row.u for row in gtc.reporting.budget(total)}
    assert {row.name: row.standard_percent for row in budget.rows()} == pytest.approx(shares, rel=1e-12)


@pytest.mark.parametrize("dof", [1.5, 3.0, 16.7, 120.0])
def test_coverage_factor(dof):
    assert float(student_factor(dof, probability_ratio=0.95)) == pytest.approx(gtc.reporting.k_factor(dof), rel=1e-9)


def test_step_between_two_readings():
    common = [quantity(c) for c in PARTS if c.common]
    # The law's own order of operations: each gain as a product, then the ratio of the two.
    gains = [gtc.exp(sum([*common, gtc.ureal(0.0, own, dof)]) / 100) for own, dof in ((0.03, 12.0), (0.05, 7.0))]
    step = 100 * gtc.log(gains[1] / gains[0])
    own = Series(name="own", values_percent=np.array([0.03, 0.05]), shape=Shape.NORMAL, dof=np.array([12.0, 7.0]))
    whole = LadderBudget(fixed=tuple(c for c in PARTS if c.common), series=(own,))
    found = whole.steps([0], [1])
    assert found.standard_percent[0] == pytest.approx(gtc.uncertainty(step), rel=1e-12)
    assert found.dof[0] == pytest.approx(gtc.dof(step), rel=1e-9)
    assert whole.absolute().standard_percent[1] == pytest.approx(gtc.uncertainty(100 * gtc.log(gains[1])), rel=1e-12)


def test_a_gain_from_its_raw_quantities():
    # codes/V = amplitude / (level · divider · pad), all of them uncertain: relative uncertainty in percent of ln.
    estimates = np.array([1480.0, 0.2, 50.0, 1.0e6, 0.01])
    standard = np.array([0.8, 2e-4, 0.5, 1e4, 1.1e-5])

    def model(x):
        return np.array([100 * math.log(x[0] / (x[1] * x[3] / (x[2] + x[3]) * x[4]))])

    result = propagate(model, estimates, covariance=np.diag(standard**2))
    a, v, rs, rl, p = (gtc.ureal(float(x), float(u)) for x, u in zip(estimates, standard, strict=True))
    reference = 100 * gtc.log(a / (v * rl / (rs + rl) * p))
    assert result.values[0] == pytest.approx(gtc.value(reference), rel=1e-12)
    assert result.standard[0] == pytest.approx(gtc.uncertainty(reference), rel=1e-8)


def test_correlated_observations():
    # GUM H.2 (JCGM 100:2008), readings of volts, milliamperes, radians.
    sets = np.array(
        [
            [5.007, 4.994, 5.005, 4.990, 4.999],
            [19.663, 19.639, 19.640, 19.685, 19.678],
            [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
        ]
    )
    seen = observed(sets.T)
    result = propagate(
        lambda x: np.array([x[0] / x[1] * math.cos(x[2]), x[0] / x[1] * math.sin(x[2])]),
        seen.means,
        covariance=seen.covariance,
    )
    v, i, phi = (
        gtc.multi_estimate_real([list(row) for row in sets], labels=["V", "I", "phi"])
        if hasattr(gtc, "multi_estimate_real")
        else gtc.type_a.multi_estimate_real([list(row) for row in sets])
    )
    r, x = v / i * gtc.cos(phi), v / i * gtc.sin(phi)
    assert result.standard == pytest.approx([gtc.uncertainty(r), gtc.uncertainty(x)], rel=1e-8)
    assert result.correlation[0, 1] == pytest.approx(gtc.get_correlation(r, x), rel=1e-7)


def test_a_mean_of_readings_with_shared_ranges():
    common = [quantity(c) for c in PARTS if c.common]
    first, second = (gtc.ureal(0.0, 0.2 / math.sqrt(3.0)) for _ in range(2))
    own = ((0.03, 12.0), (0.05, 7.0), (0.04, 9.0))
    parts = zip((first, first, second), own, strict=True)
    gains = [sum([*common, shared, gtc.ureal(0.0, u, dof)]) for shared, (u, dof) in parts]
    weights = (0.5, -1.5, 0.8)
    total = sum(weight * gain for weight, gain in zip(weights, gains, strict=True))
    noise = Series(
        name="own", values_percent=np.array([u for u, _ in own]), shape=Shape.NORMAL, dof=np.array([d for _, d in own])
    )
    ranges = Series(
        name="range", values_percent=np.full(3, 0.2), shape=Shape.RECTANGULAR, groups=np.array([0, 0, 1])
    )
    whole = LadderBudget(fixed=tuple(c for c in PARTS if c.common), series=(noise, ranges))
    found = whole.contrasts(np.array([weights]))
    assert found.standard_percent[0] == pytest.approx(gtc.uncertainty(total), rel=1e-12)
    assert found.dof[0] == pytest.approx(gtc.dof(total), rel=1e-9)
