"""Scatter, temperature coefficients and differences of nights: closed forms first."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from harness.judge.night import differences
from harness.judge.night.coefficient import slope_ppm_per_k
from harness.judge.night.scatter import beyond_percent, deviation_percent, successive_percent
from harness.values import NightFailure, NightRunRow, Outcome


def test_a_drift_does_not_count_as_scatter() -> None:
    steady = [math.exp(0.001 * k) for k in range(50)]
    found = deviation_percent(successive_percent(steady))
    # Each difference is 0.1 %: a standard deviation of 0.1/√2 %, whatever the drift sums up to (4.9 %).
    assert found == pytest.approx(0.1 / math.sqrt(2.0), rel=1e-9)


def test_scatter_is_the_standard_deviation_of_one_reading() -> None:
    rng = np.random.default_rng(5)
    gains = np.exp(rng.normal(0.0, 0.0002, 4000)).tolist()
    # 4000 differences know the deviation to about 1.4 % (successive ones are correlated); four of that.
    assert deviation_percent(successive_percent(gains)) == pytest.approx(0.02, rel=0.06)


def test_causes_add_in_quadrature_and_nothing_is_below_zero() -> None:
    assert beyond_percent(0.5, 0.3) == pytest.approx(0.4)
    assert beyond_percent(0.3, 0.5) == 0.0
    assert beyond_percent(None, 0.5) is None
    assert beyond_percent(0.5, None) is None
    assert deviation_percent([0.1, 0.1, 0.1]) is None


def test_a_straight_line_gives_its_slope_and_no_doubt() -> None:
    # 20 ppm/K is 0.002 %/K.
    found = slope_ppm_per_k([0.0, 23.0, 50.0], [0.002 * t for t in (0.0, 23.0, 50.0)])
    assert found == (pytest.approx(20.0), pytest.approx(0.0, abs=1e-9))


def test_the_doubt_about_a_slope_is_that_of_the_regression() -> None:
    rng = np.random.default_rng(2)
    t_c = np.tile([0.0, 23.0, 50.0], 5)
    d_percent = 0.002 * t_c + rng.normal(0.0, 0.01, t_c.size)
    found = slope_ppm_per_k(t_c.tolist(), d_percent.tolist())
    # Independent: numpy's covariance of a straight line, scaled by the residuals.
    coefficients, covariance = np.polyfit(t_c, d_percent, 1, cov=True)
    assert found == (pytest.approx(1e4 * coefficients[0]), pytest.approx(1e4 * math.sqrt(covariance[0, 0])))


@pytest.mark.parametrize("t_c", [[23.0, 50.0], [22.0, 23.0, 24.0]])
def test_too_few_runs_or_too_small_a_span_tell_nothing(t_c: list[float]) -> None:
    assert slope_ppm_per_k(t_c, [0.0] * len(t_c)) is None


ROW = NightRunRow(
    run_id="r", unit="N1", visit=0, corner="hot", cycle=0, end="finished", verdict=Outcome.PASS, worst_ratio=0.3,
    worst_label="ch1", probe_c=None, supply_v=None, settled=True,
)  # fmt: skip
FAILURE = NightFailure(
    unit="N1", label="ch1 2V", corners=("hot",), count=1, reason="", worst_percent=3.0, new=True
)  # fmt: skip


def test_two_nights_that_are_alike_have_no_differences() -> None:
    closer = dataclasses.replace(ROW, worst_ratio=-0.35)
    assert differences([ROW], [FAILURE], [closer], [FAILURE]) == ()


def test_what_is_new_what_is_gone_and_what_moved_are_named() -> None:
    other = dataclasses.replace(FAILURE, label="ch1 5V")
    moved = dataclasses.replace(ROW, worst_ratio=-0.9)
    assert differences([moved], [FAILURE], [ROW], [other]) == (
        "N1 ch1 2V: fails, did not before",
        "N1 ch1 5V: failed before, does not now",
        "N1, hot, cycle 1: worst residual at 0.90 of its limit, 0.30 before",
    )
