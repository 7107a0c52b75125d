"""The least-squares core: robust loss, priors, rank, bad input."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import least_squares, minimize

from harness.errors import FitFailed, NotFinite
from harness.law.fitting import HUBER, huber_weights, identify, linear_model, solve, variance_factor
from harness.law.fitting.huber import loss, robust_sd


def line(count: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    x = np.linspace(0.0, 10.0, count)
    return np.stack([np.ones(count), x], axis=1), 2.0 + 0.5 * x + rng.normal(0.0, 0.1, count)


def test_huber_counts_far_readings_less() -> None:
    assert huber_weights(np.asarray([0.0, 1.345, -2.69, 13.45]), HUBER) == pytest.approx([1.0, 1.0, 0.5, 0.1])
    assert loss(np.asarray([1.0, 3.0]), 2.0) == 1.0 + 2.0 * (2.0 * 3.0 - 2.0)
    assert loss(np.asarray([1.0, 3.0]), None) == 10.0


def test_variance_factor_against_integration() -> None:
    # Source: 95 % efficiency at 1.345 (Huber), from memory; here by adding up the density
    z = np.linspace(-12.0, 12.0, 200_001)
    density = np.exp(-z * z / 2.0) / math.sqrt(2.0 * math.pi) * (z[1] - z[0])
    for corner in (0.7, HUBER, 3.0):
        square = float(np.sum(np.clip(z, -corner, corner) ** 2 * density))
        inside = float(np.sum((np.abs(z) < corner) * density))
        assert variance_factor(corner) == pytest.approx(square / inside**2, rel=1e-4)
    assert variance_factor(HUBER) == pytest.approx(1.0 / 0.95, abs=1e-4)
    assert variance_factor(None) == 1.0


def test_robust_sd_of_normal_errors() -> None:
    errors = np.random.default_rng(5).normal(0.0, 2.0, 100_000)
    errors[:5000] = 1e6
    assert robust_sd(errors, 3) == pytest.approx(2.0, rel=0.08)
    assert robust_sd(errors[:3], 3) == 0.0


def test_the_robust_fit_against_a_direct_minimisation() -> None:
    matrix, y = line(40, 1)
    y[[3, 17, 30]] += [2.0, -1.0, 5.0]
    found = solve(linear_model(matrix), np.zeros(2), y, u=0.1, corner=HUBER)
    direct = minimize(
        lambda p: loss((y - matrix @ p) / 0.1, HUBER), [2.0, 0.5], method="Nelder-Mead",
        options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000},
    )  # fmt: skip
    assert found.converged
    assert found.parameters == pytest.approx(direct.x, abs=1e-7)
    assert found.weights[30] < 0.05
    assert found.weights[5] == 1.0


def test_a_robust_nonlinear_fit_against_another_solver() -> None:
    rng = np.random.default_rng(7)
    x = np.linspace(0.1, 5.0, 60)
    y = 3.0 * np.exp(-0.8 * x) + rng.normal(0.0, 0.02, 60)
    y[[10, 40]] += 0.5

    def model(p):
        e = np.exp(-p[1] * x)
        return p[0] * e, np.stack([e, -p[0] * x * e], axis=1)

    found = solve(model, np.asarray([1.0, 0.3]), y, u=0.02, corner=HUBER)
    other = least_squares(lambda p: (y - model(p)[0]) / 0.02, [1.0, 0.3], loss="huber", f_scale=HUBER, xtol=1e-14)
    assert found.converged
    assert found.parameters == pytest.approx(other.x, rel=1e-5)


def test_a_prior_is_a_reading_of_the_parameter() -> None:
    matrix, y = line(20, 2)
    prior = np.asarray([np.inf, 0.01])
    found = solve(linear_model(matrix), np.asarray([0.0, 0.4]), y, u=0.1, prior_sd=prior)
    stacked = np.concatenate([matrix, [[0.0, 1.0]]])
    weights = np.concatenate([np.full(20, 10.0), [100.0]])
    expected = np.linalg.lstsq(stacked * weights[:, None], np.append(y, 0.4) * weights, rcond=None)[0]
    assert found.parameters == pytest.approx(expected, rel=1e-10)
    rows = stacked * weights[:, None]
    assert found.covariance == pytest.approx(np.linalg.inv(rows.T @ rows))
    assert found.dof == 19


def test_what_the_uncertainties_are_worth() -> None:
    matrix, y = line(200, 3)  # scatters by 0.1
    trusted, estimated, larger = (
        solve(linear_model(matrix), np.zeros(2), y, u=0.02, scale=scale)
        for scale in ("given", "estimated", "at-least-given")
    )
    assert (trusted.scale, larger.scale) == (1.0, estimated.scale)
    assert estimated.scale == pytest.approx(5.0, rel=0.15)
    assert larger.covariance == pytest.approx(trusted.covariance * larger.scale**2)
    assert solve(linear_model(matrix), np.zeros(2), y, u=1.0, scale="at-least-given").scale == 1.0


def test_rank_and_null_space() -> None:
    # a and b only ever come together, c stands alone
    matrix = np.asarray([[1.0, 1.0, 0.0], [1.0, 1.0, 1.0], [2.0, 2.0, 3.0]])
    seen = identify(matrix)
    assert list(seen.identifiable) == [False, False, True]
    assert seen.rank == 2
    assert seen.singular_values[-1] < 1e-12
    assert list(identify(matrix[:, ::2]).identifiable) == [True, True]
    assert list(identify(np.asarray([[1.0, 2.0]])).identifiable) == [False, False]  # one reading, two parameters
    assert list(identify(np.asarray([[1.0, 0.0], [2.0, 0.0]])).identifiable) == [True, False]


@pytest.mark.parametrize(
    ("matrix", "words"),
    [
        (np.ones((3, 2)), "cannot tell the parameters apart; hold one of them, or give it a prior"),
        (np.asarray([[1.0, 0.0], [2.0, 0.0], [3.0, 0.0]]), "no reading depends on one of the parameters"),
    ],
)
def test_a_problem_without_a_unique_answer(matrix: np.ndarray, words: str) -> None:
    with pytest.raises(FitFailed, match=words):
        solve(linear_model(matrix), np.zeros(2), np.asarray([1.0, 2.0, 3.0]))


def test_fewer_readings_than_parameters() -> None:
    with pytest.raises(FitFailed, match="1 readings and 0 priors for 2 parameters; allowed: at least as many"):
        solve(linear_model(np.ones((1, 2))), np.zeros(2), np.asarray([1.0]))


@pytest.mark.parametrize(
    ("observed", "u", "words"),
    [
        ([1.0, math.nan], 1.0, "observed holds a NaN or an infinity"),
        ([1.0, 2.0], [1.0, math.inf], "u holds a NaN or an infinity"),
        ([1.0, 2.0], 0.0, "u is 0.0 somewhere; allowed are positive numbers"),
    ],
)
def test_numbers_that_are_none(observed: list[float], u: float | list[float], words: str) -> None:
    with pytest.raises(NotFinite, match=words):
        solve(linear_model(np.ones((2, 1))), np.zeros(1), np.asarray(observed), u=np.asarray(u))
