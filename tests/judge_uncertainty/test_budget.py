import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import MeasureError, NotFinite
from harness.judge.uncertainty import (
    Budget,
    Contribution,
    Shape,
    combined,
    coverage_factor,
    dof_of_doubt,
    dominant_factor,
    effective_dof,
    expanded_contribution,
    flatness,
    loading,
    nonlinearity,
    pad,
    range_term,
    reading_accuracy,
    shape_factor,
    standard_ratio,
    student_factor,
    temperature,
    trapezoid_of,
)


def normal(percent, *, name="n", dof=math.inf, common=False):
    return Contribution(name=name, value_percent=percent, shape=Shape.NORMAL, dof=dof, common=common)


@pytest.mark.parametrize(
    ("shape", "beta", "square"),
    [
        (Shape.NORMAL, 0.0, 1.0),
        (Shape.STUDENT, 0.0, 1.0),
        (Shape.RECTANGULAR, 0.0, 1 / 3),
        (Shape.TRIANGULAR, 0.0, 1 / 6),
        (Shape.ARCSINE, 0.0, 1 / 2),
        (Shape.TRAPEZOID, 0.0, 1 / 6),
        (Shape.TRAPEZOID, 1.0, 1 / 3),
        (Shape.TRAPEZOID, 0.5, 1.25 / 6),
    ],
)
def test_standard_deviation_of_each_shape(shape, beta, square):
    # JCGM 100:2008, 4.3.7 and 4.3.9; JCGM 101:2008, 6.4.
    assert standard_ratio(shape, beta_ratio=beta) ** 2 == pytest.approx(square, rel=1e-14)


def test_coverage_factors_without_a_trapezoid():
    assert shape_factor(Shape.NORMAL, probability_ratio=0.95) == pytest.approx(1.959964, abs=1e-6)
    # Arcsine: P(|x| < k/√2) = 2/π·asin(k/√2).
    assert shape_factor(Shape.ARCSINE, probability_ratio=0.5) == pytest.approx(1.0, abs=1e-12)


@given(st.floats(0.0, 1.0), st.floats(0.05, 0.99))
def test_trapezoid_factor_by_integration(beta, probability):
    # Density of a trapezoid of half width 1: flat up to β, then falling to 0; mass within x by its own formula.
    k = shape_factor(Shape.TRAPEZOID, probability_ratio=probability, beta_ratio=beta)
    x = k * math.sqrt((1 + beta * beta) / 6)
    top = 1 / (1 + beta)
    inside = 2 * top * min(x, beta)
    if x > beta:
        inside += 2 * top * ((x - beta) - (x - beta) ** 2 / (2 * (1 - beta)))
    assert inside == pytest.approx(probability, abs=1e-9)


def test_two_rectangles_keep_their_variance():
    base, beta = trapezoid_of(0.3, 0.1)
    assert (base * standard_ratio(Shape.TRAPEZOID, beta_ratio=beta)) ** 2 == pytest.approx((0.09 + 0.01) / 3, rel=1e-12)


def test_common_and_independent_parts_apart():
    budget = Budget(contributions=(normal(3.0, common=True), normal(4.0)))
    assert (budget.common_percent, budget.independent_percent, budget.standard_percent) == (3.0, 4.0, 5.0)
    assert budget.expanded_percent() == 10.0
    assert [row.share_percent for row in budget.rows()] == pytest.approx([36.0, 64.0])
    assert [row.kind for row in budget.rows()] == ["common", "per reading"]
    assert [row.stated for row in budget.rows()] == ["normal 3 %", "normal 4 %"]


def test_an_empty_and_a_certain_budget():
    assert Budget(contributions=()).standard_percent == 0.0
    certain = Budget(contributions=(normal(0.0),))
    assert certain.rows()[0].share_percent == 0.0
    assert certain.dof == math.inf


def test_statements_for_people():
    stated = [
        Contribution(name="a", value_percent=0.1, shape=Shape.RECTANGULAR).stated,
        Contribution(name="a", value_percent=0.1, shape=Shape.TRAPEZOID, beta_ratio=0.5).stated,
        Contribution(name="a", value_percent=0.1, shape=Shape.STUDENT, dof=3).stated,
    ]
    assert stated == ["rectangular ±0.1 %", "trapezoid (β = 0.5) ±0.1 %", "student 0.1 %"]


def test_student_factor_of_a_budget():
    budget = Budget(contributions=(normal(1.0, dof=9.0), normal(0.0)))
    assert budget.dof == pytest.approx(9.0)
    assert budget.factor(probability_ratio=0.95) == pytest.approx(2.262157, abs=1e-6)
    assert budget.expanded_percent(probability_ratio=0.95, whole_dof=True) == pytest.approx(2.262157, abs=1e-6)


@given(st.lists(st.tuples(st.floats(1e-120, 1e3), st.integers(1, 1000)), min_size=1, max_size=8))
def test_effective_dof_lies_between_the_least_and_the_sum(parts):
    u, dof = zip(*parts, strict=True)
    found = float(effective_dof(u, dof))
    assert min(dof) * (1 - 1e-9) <= found <= sum(dof) * (1 + 1e-9)


def test_effective_dof_of_columns():
    found = effective_dof(np.array([[1.0, 0.0], [1.0, 2.0]]), np.array([[4.0, 4.0], [4.0, math.inf]]))
    assert found.tolist() == [8.0, math.inf]
    assert combined(np.array([[3.0, 0.0], [4.0, 2.0]])).tolist() == [5.0, 2.0]


# Worked budgets of an oscilloscope-class input (common practice, calculated for this project from typical values):
# 600 mV straight, and 6 mV through a characterised 40 dB pad; k = 1, percent.
def worked(*, padded):
    at = np.array([0.212])  # V rms at the meter, in both cases
    found = [
        reading_accuracy("meter, reading", 0.1),
        range_term("meter, range", at, range_v=np.array([1.0]), percent_of_range=0.05).at(0),
        loading(source_ohm=50.0, load_ohm=1e6, load_tolerance_percent=100.0),
        nonlinearity(np.array([96.0]), inl_code=0.5).at(0),
        normal(0.071 if padded else 0.006, name="fit noise"),
        normal(0.05, name="repeatability"),
        temperature(half_width_k=2.0, coefficient_ppm_per_k=50.0),
    ]
    return Budget(contributions=(*found, *([pad(0.02)] if padded else [])))


def test_worked_budget_at_600_millivolt():
    budget = worked(padded=False)
    standard = {row.name: row.standard_percent for row in budget.rows()}
    expected = {"meter, reading": 0.058, "meter, range": 0.136, "loading": 0.003, "converter non-linearity": 0.15}
    for name, value in {**expected, "temperature": 0.006}.items():
        assert standard[name] == pytest.approx(value, abs=5.1e-4), name
    assert budget.standard_percent == pytest.approx(0.22, abs=0.005)
    assert budget.expanded_percent() == pytest.approx(0.43, abs=0.0051)
    assert 3.0 / budget.expanded_percent() == pytest.approx(6.9, abs=0.05)


def test_worked_budget_at_6_millivolt_through_a_pad():
    budget = worked(padded=True)
    assert budget.rows()[-1].standard_percent == pytest.approx(0.115, abs=5e-4)
    assert budget.standard_percent == pytest.approx(0.26, abs=0.005)
    assert budget.expanded_percent() == pytest.approx(0.51, abs=0.0051)
    assert 1.0 / budget.expanded_percent() == pytest.approx(2.0, abs=0.05)


def test_statements_of_certificates():
    assert expanded_contribution("pad", 0.4).standard_percent == pytest.approx(0.2)
    assert expanded_contribution("pad", 0.4, factor=2.5, common=False).standard_percent == pytest.approx(0.16)
    # 8.685889638 dB a neper: 0.02 dB at k = 2 is 0.01 dB, 0.115129 %.
    assert pad(0.02).standard_percent == pytest.approx(100 * 0.01 / 8.685889638, rel=1e-9)
    assert flatness(0.3).standard_percent == pytest.approx(0.3 / math.sqrt(3))
    assert flatness(0.3).common


def test_loading_by_the_divider():
    # Both resistances off by their tolerance, in turn: the largest change of ln V is the half width.
    found = loading(source_ohm=50.0, load_ohm=950.0, load_tolerance_percent=0.2, source_tolerance_percent=0.1)
    assert found.value_percent == pytest.approx(0.05 * 0.3, rel=1e-12)
    assert (found.shape, found.beta_ratio) == (Shape.TRAPEZOID, pytest.approx(1 / 3))
    changed = 100 * math.log((950 * 1.002) / (50 * 0.999 + 950 * 1.002) / 0.95)
    assert found.value_percent == pytest.approx(changed, rel=2e-3)
    assert loading(source_ohm=0.0, load_ohm=1e6, load_tolerance_percent=1.0).value_percent == 0.0


def test_dominant_shapes():
    flat = Contribution(name="f", value_percent=1.0, shape=Shape.RECTANGULAR)
    assert dominant_factor([], probability_ratio=0.95) is None
    assert dominant_factor([flat, flat, flat], probability_ratio=0.95) is None
    assert dominant_factor([normal(1.0), flat], probability_ratio=0.95) is None
    # Two equal rectangles make a triangle.
    assert dominant_factor([flat, flat], probability_ratio=0.95) == pytest.approx(1.901767, abs=1e-6)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: normal(-1.0), r"contribution 'n': value_percent is -1.0; allowed is a finite number >= 0"),
        (lambda: normal(math.nan), r"value_percent is nan; allowed is a finite number >= 0"),
        (lambda: normal(1.0, dof=0.5), r"contribution 'n': degrees of freedom are 0.5; allowed is 1 or more"),
        (lambda: standard_ratio(Shape.TRAPEZOID, beta_ratio=1.5), r"beta_ratio is 1.5; .* >= 0 and <= 1"),
        (lambda: shape_factor(Shape.NORMAL, probability_ratio=1.0), r"probability_ratio is 1.0; .* > 0 and < 1"),
        (lambda: student_factor(5, probability_ratio=0.0), r"probability_ratio is 0.0; .* > 0 and < 1"),
        (lambda: coverage_factor(0.0), r"coverage factor: degrees of freedom are 0.0"),
        (lambda: combined([-1.0]), r"combined uncertainty: a component is -1.0"),
        (lambda: dof_of_doubt(0.0), r"doubt_ratio is 0.0; allowed is a finite number > 0"),
        (lambda: trapezoid_of(0.0, 0.0), r"first \+ second is 0.0"),
        (lambda: expanded_contribution("c", 1.0, factor=0.0), r"contribution 'c': factor is 0.0"),
        (lambda: pad(-0.1), r"pad: expanded_db is -0.1"),
        (lambda: loading(source_ohm=50, load_ohm=0.0, load_tolerance_percent=1), r"loading: load_ohm is 0.0; .* > 0"),
        (lambda: temperature(half_width_k=-1, coefficient_ppm_per_k=5), r"temperature: half_width_k is -1.0"),
        (lambda: nonlinearity(np.array([0.0]), inl_code=0.5), r"converter non-linearity: amplitude_code is 0.0"),
    ],
)
def test_bad_numbers_are_named(make, words):
    with pytest.raises(NotFinite, match=words):
        make()


def test_lists_of_different_length_are_named():
    with pytest.raises(
        MeasureError, match=r"meter: shapes are level_v \(2,\), range_v \(1,\); allowed are lists of one"
    ):
        range_term("meter", np.ones(2), range_v=np.ones(1), percent_of_range=0.1)
