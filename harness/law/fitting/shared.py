"""Generalised least squares: errors that several readings have in common, each a parameter with a prior."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from harness.errors import NotFinite, UsageError
from harness.law.fitting.solve import Model, Solution, solve
from harness.law.stages import Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shared:
    """How uncertain observations are, and what of it they have in common; relative, shape (n,) unless it says else."""

    u: Floats
    """Of each, without what is common to all."""
    some: Floats
    """A row for each error that some have in common, 0 where one has none of it, shape (j, n); part of `u`."""
    all: float
    """Of what is common to all."""

    @classmethod
    def of(cls, u_percent: Floats | float, some_percent: Floats | None, all_percent: float, *, count: int) -> Shared:
        """The same in percent, checked.

        Args:
            u_percent: shape (n,) or one for all.
            some_percent: shape (j, n); None for none.
            all_percent: >= 0.
            count: number of observations n.
        Returns:
            relative uncertainties.
        Raises:
            UsageError: shapes differ, or shared errors leave nothing of `u_percent` to an observation itself.
            NotFinite: a shared error is negative or not finite.
        Source:
            none: a check of arguments.
        """
        u = np.broadcast_to(np.asarray(u_percent, dtype=np.float64), (count,))
        some = np.zeros((0, count)) if some_percent is None else np.asarray(some_percent, dtype=np.float64)
        if some.ndim != 2 or some.shape[1] != count:
            raise UsageError(f"fit: shared errors of shape {some.shape}; allowed: (errors, {count}), one a setting")
        if not bool(np.all(np.isfinite(some) & (some >= 0.0))) or not 0.0 <= all_percent < math.inf:
            raise NotFinite("fit: a shared error is no finite number >= 0; allowed are standard uncertainties, percent")
        if some.size and bool(np.any(np.sum(some**2, axis=0) >= u**2)):
            raise UsageError("fit: shared errors are all of u_percent of a setting; allowed: they are a part of it")
        return cls(u=u / 100.0, some=some / 100.0, all=all_percent / 100.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SharedSolution:
    """What was found, without the shared errors themselves."""

    parameters: Floats
    """Shape (p,)."""
    covariance: Floats
    """Shape (p, p), what is common to all in it."""
    sensitivity: Floats
    """Of the parameters to the observations, shape (p, n)."""
    whole: Solution


def solve_shared(
    model: Model, observed: Floats, shared: Shared, *, prior_sd: Floats, corner: float | None
) -> SharedSolution:
    """Which parameters make a model fit observations best whose errors have to do with each other.

    Args:
        model: values and derivatives at given parameters.
        observed: shape (n,), finite.
        shared: how uncertain they are.
        prior_sd: how well the parameters are known beforehand, shape (p,), infinite where nothing is known.
        corner: Huber's corner in standard deviations; None for plain least squares.
    Returns:
        parameters, covariance, sensitivity; where residuals scatter more than the uncertainties say, scatter counts.
    Raises:
        NotFinite: as solve.
        FitFailed: as solve.
    Source:
        generalised least squares as a mixed model (Aitken 1935; Henderson 1950, from memory): an error that readings
        share is a parameter whose prior is its uncertainty. Drawn in tests/law/test_fit_shared.py.
    """
    count, errors = prior_sd.size, shared.some.shape[0]

    def with_errors(parameters: Floats) -> tuple[Floats, Floats]:
        values, matrix = model(parameters[:count])
        return values + parameters[count:] @ shared.some, np.concatenate([matrix, shared.some.T], axis=1)

    found = solve(
        with_errors if errors else model,
        np.zeros(count + errors),
        observed,
        u=np.sqrt(shared.u**2 - np.sum(shared.some**2, axis=0)),
        prior_sd=np.concatenate([prior_sd, np.ones(errors)]),
        corner=corner,
        scale="at-least-given",
    )
    sensitivity = found.sensitivity[:count]
    everywhere = sensitivity.sum(axis=1) * shared.all
    return SharedSolution(
        parameters=found.parameters[:count],
        covariance=found.covariance[:count, :count] + np.outer(everywhere, everywhere),
        sensitivity=sensitivity,
        whole=found,
    )
