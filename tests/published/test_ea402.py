"""EA-4/02 supplement: S7, step attenuator at 30 dB (the budget nearest to a gain step); S9, S10, coverage factors."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from harness.judge.uncertainty import (
    Budget,
    Contribution,
    Shape,
    coverage_interval,
    dominant_factor,
    draw_sum,
    propagate,
    shape_factor,
    trapezoid_of,
)

# Source: EA-4/02 supplement, example S7; same data as NIST Technical Note 1900 (2015), example E11. Status in the file.
S7 = tomllib.loads((Path(__file__).parent / "data" / "ea4-02-s7-step-attenuator.toml").read_text("utf-8"))
CALCULATED, TOLERANCE = S7["calculated"], S7["tolerance"]
PERCENT_PER_DB = 100 * math.log(10) / 20


def contribution(name, value_db, shape, dof=math.inf):
    return Contribution(name=name, value_percent=PERCENT_PER_DB * value_db, shape=shape, dof=dof)


def budget(small_terms=Shape.ARCSINE, mean_shape=Shape.STUDENT):
    readings = np.array(S7["readings_at_30_db"]) - np.array(S7["readings_at_0_db"])
    u_mean = readings.std(ddof=1) / math.sqrt(readings.size)
    return readings.mean(), Budget(
        contributions=(
            contribution("L_S", u_mean, mean_shape, dof=readings.size - 1.0),
            contribution("dL_S", 0.0025, Shape.NORMAL),
            contribution("dL_D", 0.002, small_terms),
            # Half width printed 0.02828; the calculated numbers take u = 0.0200.
            contribution("dL_M", 0.0200 * math.sqrt(2), Shape.ARCSINE),
            contribution("dL_K", 0.003, small_terms),
            contribution("dL_ia", 0.0005, Shape.RECTANGULAR),
            contribution("dL_ib", 0.0005, Shape.RECTANGULAR),
            contribution("dL_0a", 0.0020, Shape.NORMAL),
            contribution("dL_0b", 0.0020, Shape.NORMAL),
        )
    )


def test_loss_and_its_mean():
    mean, _ = budget()
    assert mean == pytest.approx(CALCULATED["mean_L_S_db"], abs=TOLERANCE["L_X_db"])
    assert mean + 0.003 == pytest.approx(CALCULATED["L_X_db"], abs=TOLERANCE["L_X_db"])


def test_combined_and_expanded_uncertainty():
    _, found = budget()
    u_db = found.standard_percent / PERCENT_PER_DB
    assert u_db == pytest.approx(S7["published"]["u_db"], abs=TOLERANCE["u_db"])
    assert u_db == pytest.approx(CALCULATED["u_all_small_terms_arcsine_db"], abs=1e-9)
    assert found.expanded_percent() / PERCENT_PER_DB == pytest.approx(S7["published"]["U_db"], abs=5e-4)
    assert found.factor() == S7["published"]["k"]
    assert found.dof == pytest.approx(CALCULATED["nu_eff_all_small_terms_arcsine"], abs=1e-6)


def test_small_terms_rectangular():
    _, found = budget(Shape.RECTANGULAR)
    u_db = found.standard_percent / PERCENT_PER_DB
    assert u_db == pytest.approx(CALCULATED["u_drift_and_leakage_rectangular_db"], abs=1e-9)
    assert found.dof == pytest.approx(108.8, abs=0.1)


def test_from_the_rounded_table():
    rounded = Budget(
        contributions=tuple(
            contribution(term["name"], term["u_db"], Shape.NORMAL, dof=3.0 if term["name"] == "L_S" else math.inf)
            for term in S7["term"]
        )
    )
    assert rounded.standard_percent / PERCENT_PER_DB == pytest.approx(
        CALCULATED["u_from_the_rounded_table_db"], abs=1e-9
    )
    assert rounded.dof == pytest.approx(111.0, abs=0.05)


def test_mismatch_carries_the_budget():
    _, found = budget()
    rows = {row.name: row for row in found.rows()}
    assert max(rows.values(), key=lambda row: row.share_percent).name == "dL_M"
    assert sum(row.share_percent for row in rows.values()) == pytest.approx(100.0, abs=1e-9)
    assert rows["dL_M"].standard_percent / PERCENT_PER_DB == pytest.approx(0.0200, abs=5e-5)


def test_the_model_by_propagation():
    mean, found = budget()
    estimates = np.array([mean, 0.003, 0, 0, 0, 0, 0, 0, 0])
    u_db = np.array([c.standard_percent / PERCENT_PER_DB for c in found.contributions])
    signs = np.array([term["sensitivity"] for term in S7["term"]])
    result = propagate(lambda x: np.array([signs @ x]), estimates, covariance=np.diag(u_db**2))
    assert result.values[0] == pytest.approx(CALCULATED["L_X_db"], abs=1e-9)
    assert result.standard[0] == pytest.approx(found.standard_percent / PERCENT_PER_DB, rel=1e-9)


# With a t distribution of 3 degrees of freedom for L_S the ends move: numbers in the note of the file.
@pytest.mark.parametrize(
    ("mean_shape", "ends", "tolerance"),
    [(Shape.NORMAL, CALCULATED["interval_95_monte_carlo_db"], 5e-4), (Shape.STUDENT, [29.9982, 30.0882], 1e-3)],
)
def test_interval_by_drawing(mean_shape, ends, tolerance):
    _, found = budget(mean_shape=mean_shape)
    samples = draw_sum(found.contributions, np.random.default_rng(7), draws=2_000_000)
    low, high = coverage_interval(samples / PERCENT_PER_DB + CALCULATED["L_X_db"])
    assert [low, high] == pytest.approx(ends, abs=tolerance)


def test_mismatch_term_by_its_formula():
    # Formula and inputs from memory, see the file.
    m = S7["mismatch"]
    s11, s22, s21 = (np.array(m[name]) for name in ("s11", "s22", "s21"))
    inside = m["GS"] ** 2 * (s11 @ s11) + m["GL"] ** 2 * (s22 @ s22) + m["GS"] ** 2 * m["GL"] ** 2 * np.sum(s21**4)
    value_db = 20 / (math.sqrt(2) * math.log(10)) * math.sqrt(inside)
    assert value_db == pytest.approx(m["calculated_db"], abs=1e-9)
    assert value_db == pytest.approx(m["published_db"], abs=5e-4)


# EA-4/02 S9 and S10, printed 1.65 and 1.83 (from memory); closed form recomputed.
@pytest.mark.parametrize(
    ("shape", "beta", "factor"),
    [
        (Shape.RECTANGULAR, 0.0, 1.645448),
        (Shape.TRAPEZOID, 1.0, 1.645448),
        (Shape.TRAPEZOID, 0.33, 1.835110),
        (Shape.TRAPEZOID, 0.0, 1.901767),
        (Shape.TRIANGULAR, 0.0, 1.901767),
    ],
)
def test_coverage_factor_of_a_shape(shape, beta, factor):
    assert shape_factor(shape, probability_ratio=0.95, beta_ratio=beta) == pytest.approx(factor, abs=1e-6)


def test_coverage_factor_of_a_budget_that_rectangles_dominate():
    one = [contribution("a", 1.0, Shape.RECTANGULAR), contribution("b", 0.05, Shape.NORMAL)]
    assert dominant_factor(one, probability_ratio=0.95) == pytest.approx(1.645448, abs=1e-6)
    base, beta = trapezoid_of(0.665, 0.335)
    assert (base, beta) == pytest.approx((1.0, 0.33), abs=1e-12)
    two = [contribution("a", 0.665, Shape.RECTANGULAR), contribution("c", 0.335, Shape.RECTANGULAR)]
    assert dominant_factor([*two, contribution("b", 0.05, Shape.NORMAL)], probability_ratio=0.95) == pytest.approx(
        1.835110, abs=1e-6
    )
    _, s7 = budget()
    assert dominant_factor(s7.contributions, probability_ratio=0.95) is None
