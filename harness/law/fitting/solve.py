"""Weighted least squares of any model: Gauss-Newton with damping, priors as rows, Huber's loss by reweighting."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from harness.errors import FitFailed, NotFinite
from harness.law.fitting.huber import huber_weights, loss, robust_sd, variance_factor
from harness.law.stages import Floats

Model = Callable[[Floats], tuple[Floats, Floats]]
"""Parameters, shape (p,) -> values, shape (n,), and their derivatives, shape (n, p)."""
Scale = Literal["given", "estimated", "at-least-given"]
"""Whether standard uncertainties are what is given, given but for a factor that the residuals tell, or the larger."""

MOST_STEPS = 200
STILL_RATIO = 1e-10
"""A step that moves the model by less than this share of the residuals ends the fit."""
STILL_ROBUST_RATIO = 1e-7
"""The same with Huber's loss, whose reweighting converges linearly."""
ROUNDING = 1e-14
"""Share of the observations below which a step is rounding."""
TINY = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution:
    """What was found."""

    parameters: Floats
    """Shape (p,)."""
    covariance: Floats
    """Shape (p, p); of observations whose errors have nothing to do with each other."""
    sensitivity: Floats
    """Of the parameters to the observations, all counting fully, shape (p, n)."""
    residuals: Floats
    """Observed minus model, in the unit of the observations, shape (n,)."""
    weights: Floats
    """Huber's weight of each reading, 1 for those that count fully, shape (n,)."""
    scale: float
    """Factor on the given standard uncertainties."""
    chi2: float
    """Sum of squares of the residuals over the given standard uncertainties."""
    dof: int
    """Readings and priors minus parameters."""
    converged: bool
    steps: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Task:
    model: Model
    observed: Floats
    u: Floats
    prior_mean: Floats
    prior_sd: Floats
    corner: float | None
    scale: Scale
    free: float
    """How many parameters the readings decide: less than all where priors decide them too."""

    def scale_of(self, residuals: Floats) -> float:
        if self.scale == "given":
            return 1.0
        if self.corner is None:
            free = residuals.size - self.free
            found = float(np.sqrt(residuals @ residuals / free)) if free > 0 else 0.0
        else:
            found = robust_sd(residuals, self.free)
        return found if self.scale == "estimated" and found > 0.0 else max(found, 1.0)


def solve(
    model: Model,
    start: Floats,
    observed: Floats,
    *,
    u: Floats | float = 1.0,
    prior_mean: Floats | None = None,
    prior_sd: Floats | None = None,
    corner: float | None = None,
    scale: Scale = "given",
) -> Solution:
    """Which parameters make a model fit observations best.

    Args:
        model: values and derivatives at given parameters.
        start: first guess, shape (p,).
        observed: shape (n,), finite.
        u: standard uncertainty of each, > 0, shape (n,) or one for all; only ratios count when the scale is estimated.
        prior_mean: what is known of the parameters beforehand, shape (p,); None takes `start`.
        prior_sd: how well, shape (p,), infinite where nothing is known; None for nothing at all.
        corner: Huber's corner in standard deviations; None for plain least squares.
        scale: what the uncertainties are worth.
    Returns:
        parameters, covariance, residuals.
    Raises:
        NotFinite: an observation, an uncertainty or a value of the model at the start is no finite number.
        FitFailed: fewer readings and priors than parameters, or readings that cannot tell the parameters apart.
    Source:
        Gauss-Newton with Levenberg's damping; certified results in tests/published/test_law_nist.py.
    """
    start = np.asarray(start, dtype=np.float64)
    task = _Task(
        model=model,
        observed=np.asarray(observed, dtype=np.float64),
        u=np.broadcast_to(np.asarray(u, dtype=np.float64), np.shape(observed)),
        prior_mean=start if prior_mean is None else prior_mean,
        prior_sd=np.full(start.shape, np.inf) if prior_sd is None else prior_sd,
        corner=corner,
        scale=scale,
        free=start.size,
    )
    _check(task, start)
    return _walk(replace(task, free=_free(task, start)), start)


def linear_model(matrix: Floats, offset: Floats | float = 0.0) -> Model:
    """A model that is a matrix times the parameters.

    Args:
        matrix: shape (n, p).
        offset: added, shape (n,) or one for all.
    Returns:
        the model for `solve`.
    Source:
        none: linear algebra.
    """
    return lambda parameters: (matrix @ parameters + offset, matrix)


def _check(task: _Task, start: Floats) -> None:
    priors = int(np.count_nonzero(np.isfinite(task.prior_sd)))
    if task.observed.size + priors < start.size or not task.observed.size:
        raise FitFailed(
            f"{task.observed.size} readings and {priors} priors for {start.size} parameters; allowed: at least as many"
        )
    values, matrix = task.model(start)
    for name, array in (("observed", task.observed), ("model", values), ("derivatives", matrix), ("u", task.u)):
        if not bool(np.all(np.isfinite(array))):
            raise NotFinite(f"fit: {name} holds a NaN or an infinity; allowed are finite numbers")
    if not bool(np.all(task.u > 0.0)):
        raise NotFinite(f"fit: u is {float(np.min(task.u))!r} somewhere; allowed are positive numbers")


def _free(task: _Task, start: Floats) -> float:
    """Trace of the matrix that makes fitted values of observations: each prior takes its share of a parameter away."""
    if not bool(np.any(np.isfinite(task.prior_sd))):
        return float(start.size)
    values, matrix = task.model(start)
    rows, _ = _rows(replace(task, corner=None), start, values, matrix, 1.0)
    orthogonal = np.linalg.qr(rows)[0][: task.observed.size]
    return float(np.sum(orthogonal**2))


def _walk(task: _Task, start: Floats) -> Solution:
    place, damping, converged, steps = start, 0.0, False, 0
    values, matrix = task.model(place)
    still = STILL_RATIO if task.corner is None else STILL_ROBUST_RATIO
    while steps < MOST_STEPS and not converged:
        steps += 1
        size = task.scale_of((task.observed - values) / task.u)
        rows, target = _rows(task, place, values, matrix, size)
        step = _step(rows, target, damping)
        moved = float(np.linalg.norm(rows @ step))
        floor = ROUNDING * float(np.linalg.norm(task.observed / task.u)) / size
        tried = place + step
        tried_values, tried_matrix = task.model(tried)
        now, then = _cost(task, place, values, size), _cost(task, tried, tried_values, size)
        if then <= now * (1.0 + 1e-13) + TINY:
            place, values, matrix = tried, tried_values, tried_matrix
            damping = damping / 10.0 if damping > 1e-9 else 0.0
        else:
            damping = max(10.0 * damping, 1e-4)
        # A damped step is short whatever is left to do.
        converged = moved <= still * float(np.linalg.norm(target)) + floor and damping <= 1e-4
    return _solution(task, place, values, matrix, converged=converged, steps=steps)


def _rows(task: _Task, place: Floats, values: Floats, matrix: Floats, size: float) -> tuple[Floats, Floats]:
    """Weighted readings and priors as one linear problem."""
    left = (task.observed - values) / (task.u * size)
    root = 1.0 if task.corner is None else np.sqrt(huber_weights(left, task.corner))
    known = np.isfinite(task.prior_sd)
    rows = matrix * np.asarray(root / (task.u * size))[:, np.newaxis]
    prior_rows = np.diag(1.0 / task.prior_sd)[known]
    prior_left = ((task.prior_mean - place) / task.prior_sd)[known]
    return np.concatenate([rows, prior_rows]), np.concatenate([left * root, prior_left])


def _step(rows: Floats, target: Floats, damping: float) -> Floats:
    norms = np.linalg.norm(rows, axis=0)
    norms = np.where(norms > 0.0, norms, 1.0)
    scaled, wanted = rows / norms, target
    if damping > 0.0:
        scaled = np.concatenate([scaled, np.sqrt(damping) * np.eye(norms.size)])
        wanted = np.concatenate([target, np.zeros(norms.size)])
    found = np.linalg.lstsq(scaled, wanted, rcond=None)[0]
    return np.asarray(found / norms, dtype=np.float64)


def _cost(task: _Task, place: Floats, values: Floats, size: float) -> float:
    with np.errstate(all="ignore"):
        left = (task.observed - values) / (task.u * size)
        cost = loss(left, task.corner) + float(np.sum(((task.prior_mean - place) / task.prior_sd) ** 2))
    return cost if np.isfinite(cost) else np.inf


def _solution(task: _Task, place: Floats, values: Floats, matrix: Floats, *, converged: bool, steps: int) -> Solution:
    left = (task.observed - values) / task.u
    size = task.scale_of(left)
    plain = _Task(
        model=task.model, observed=task.observed, u=task.u, prior_mean=task.prior_mean, prior_sd=task.prior_sd,
        corner=None, scale=task.scale, free=task.free,
    )  # fmt: skip
    rows, _ = _rows(plain, place, values, matrix, size * variance_factor(task.corner) ** 0.5)
    norms = np.linalg.norm(rows, axis=0)
    if not bool(np.all(norms > 0.0)):
        raise FitFailed("no reading depends on one of the parameters; hold it, or give it a prior")
    _, sizes, directions = np.linalg.svd(np.linalg.qr(rows / norms, mode="r"))
    if float(sizes[-1]) <= 1e-13 * float(sizes[0]):
        raise FitFailed("the readings cannot tell the parameters apart; hold one of them, or give it a prior")
    half = (directions.T / sizes) / norms[:, np.newaxis]
    covariance = half @ half.T
    # Rows are divided by the enlarged uncertainty, so that dividing once more makes an estimate of an observation.
    weighted = rows[: left.size].T / (task.u * size * variance_factor(task.corner) ** 0.5)
    return Solution(
        parameters=place,
        covariance=covariance,
        sensitivity=covariance @ weighted,
        residuals=task.observed - values,
        weights=np.ones_like(left) if task.corner is None else huber_weights(left / size, task.corner),
        scale=size,
        chi2=float(left @ left),
        dof=int(left.size + np.count_nonzero(np.isfinite(task.prior_sd)) - place.size),
        converged=converged,
        steps=steps,
    )
