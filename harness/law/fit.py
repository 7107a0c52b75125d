"""Fit of a law's parameters to readings: what each part of this unit really is, and what no reading can tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.errors import FitFailed, NotFinite, UsageError
from harness.law.design import LN_K, Column, Design, design_matrix
from harness.law.fitting import HUBER, Identified, Shared, SharedSolution, identify, solve_shared
from harness.law.gain_law import GainLaw
from harness.law.stages import Floats
from harness.values import Setting

MOST_CHANGE = 25.0
"""ln of the largest factor by which a parameter may differ from the file: more is another law."""
PRIOR_PERCENT = 10.0
"""Standard uncertainty before any reading of a parameter that the readings cannot tell, without a tolerance."""
PRIOR_LN_K_PERCENT = 1.0
"""The same of ln K: half the usual absolute limit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedParameter:
    """One parameter of a unit."""

    name: str
    """Such as `ln K`, `attenuator 1:10`, `pregain`; limits name it so."""
    nominal: float
    """By the device file, in its own unit; 1 for ln K."""
    estimate: float
    """Same unit."""
    u: float
    """Standard uncertainty, same unit."""
    deviation_percent: float
    """100 · ln(estimate/nominal) for factors; of the weights of bits 100 · (estimate/nominal - 1)."""
    u_percent: float
    """Of the deviation."""
    identifiable: bool
    """Whether the readings alone decide it; else a prior does, and the uncertainty says so."""
    prior_percent: float | None
    """Standard uncertainty of the prior; None where none was needed."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LawFit:
    """The law of one channel as its readings show it."""

    parameters: tuple[FittedParameter, ...]
    settings: tuple[Setting, ...]
    residual_percent: Floats
    """100 · ln(measured/fitted) of each setting, shape (n,)."""
    weight_ratio: Floats
    """How much each reading counted, 1 or less, shape (n,)."""
    fitted_codes_per_v: Floats
    """Gain by the fitted law, arithmetic included, shape (n,)."""
    covariance: Floats
    """Of the deviations, percent squared, shape (p, p), in the order of `parameters`."""
    sensitivity: Floats
    """Of the deviations to ln of the gains, shape (p, n): percent a percent."""
    matrix: Floats
    """How ln of the fitted gains depends on the deviations, shape (n, p)."""
    singular_values: Floats
    """Of the design with columns of unit length, largest first, without priors."""
    scale_ratio: float
    """How much more the residuals scatter than the uncertainties say, 1 or more."""
    dof: int
    converged: bool

    def residual_sensitivity(self, first: int = 0, last: int | None = None) -> Floats:
        """Of some residuals to ln of the gains, shape (m, n): what a fit takes up is in none."""
        rows = -self.matrix[first:last] @ self.sensitivity
        rows[np.arange(len(rows)), np.arange(first, first + len(rows))] += 1.0
        return np.asarray(rows, dtype=np.float64)

    @property
    def unidentifiable(self) -> tuple[str, ...]:
        """Names of the parameters that the readings cannot tell apart."""
        return tuple(parameter.name for parameter in self.parameters if not parameter.identifiable)

    def parameter(self, name: str) -> FittedParameter:
        """The parameter of a name; KeyError where the fit has none."""
        for parameter in self.parameters:
            if parameter.name == name:
                return parameter
        raise KeyError(name)

    def statement(self) -> str:
        """What the readings could not tell, for people; empty when they told everything."""
        if not self.unidentifiable:
            return ""
        least = self.singular_values[-1] / self.singular_values[0]
        names = ", ".join(self.unidentifiable)
        return (
            f"these settings cannot tell {names} apart (least singular value {least:.1e} of the largest): "
            "decided by priors"
        )


def fit_law(
    law: GainLaw,
    settings: Sequence[Setting],
    gains_codes_per_v: Floats,
    *,
    u_percent: Floats | float,
    bits: bool = False,
    robust: bool = True,
    ln_k_prior_percent: float = PRIOR_LN_K_PERCENT,
    shared_percent: Floats | None = None,
    common_percent: float = 0.0,
) -> LawFit:
    """What the parameters of one channel are, by its readings.

    Args:
        law: of the device.
        settings: of one channel, in any order, repeats allowed.
        gains_codes_per_v: measured gains, arithmetic included, > 0, shape (n,).
        u_percent: standard uncertainty of each, without what is common to all, > 0, shape (n,) or one for all. Where
            residuals scatter more, the scatter counts.
        bits: whether the weights of the bits are fitted too.
        robust: whether readings far off count less (Huber, 1.345).
        ln_k_prior_percent: standard uncertainty of the gain of the whole path before any reading; used only where the
            readings cannot tell it.
        shared_percent: standard uncertainties of errors that several readings have in common, such as that of a range
            of the source, shape (j, n): a row for each error, 0 where a reading has none of it. Part of u_percent.
        common_percent: standard uncertainty of what is common to all readings, >= 0; it is no part of u_percent.
    Returns:
        parameters with uncertainties, residuals, and which parameters no reading can tell.
    Raises:
        UsageError: no settings, settings of several channels, gains or shared errors that are not one for each setting,
            or shared errors that are all of u_percent.
        NotFinite: a gain or an uncertainty is not a positive finite number.
        FitFailed: the readings and the priors do not decide the parameters, or one of them leaves every measure.
    Source:
        least squares of ln G, generalised where errors are shared; Huber's loss; recovery of injected parameters in
        tests/law/test_fit_law.py.
    """
    design = design_matrix(law, settings, bits=bits)
    measured = _checked(gains_codes_per_v, len(settings))
    seen = identify(design.matrix)
    priors = _priors(design, seen.identifiable, ln_k_prior_percent)
    solution = solve_shared(
        design.model(),
        np.log(measured),
        Shared.of(u_percent, shared_percent, common_percent, count=measured.size),
        prior_sd=priors,
        corner=HUBER if robust else None,
    )
    return _law_fit(design, settings, np.log(measured), seen=seen, priors=priors, solution=solution)


def _law_fit(
    design: Design,
    settings: Sequence[Setting],
    logs: Floats,
    *,
    seen: Identified,
    priors: Floats,
    solution: SharedSolution,
) -> LawFit:
    changes, spreads = solution.parameters, np.sqrt(np.diag(solution.covariance))
    far = int(np.abs(changes).argmax())
    if not abs(float(changes[far])) < MOST_CHANGE:
        raise FitFailed(
            f"fit: {design.columns[far].name} would change by a factor of exp({changes[far]:.3g}); allowed "
            f"is up to exp({MOST_CHANGE:g}): the law of the device file is not that of these gains"
        )
    values, matrix = design.model()(changes)
    residuals = logs - values
    rows = zip(design.columns, changes, spreads, seen.identifiable, priors, strict=True)
    return LawFit(
        parameters=tuple(_parameter(column, *map(float, numbers)) for column, *numbers in rows),
        settings=tuple(settings),
        residual_percent=100.0 * residuals,
        weight_ratio=solution.whole.weights,
        fitted_codes_per_v=np.exp(logs - residuals),
        covariance=solution.covariance * 1e4,
        sensitivity=solution.sensitivity,
        matrix=matrix,
        singular_values=seen.singular_values,
        scale_ratio=solution.whole.scale,
        dof=solution.whole.dof,
        converged=solution.whole.converged,
    )


def _checked(gains_codes_per_v: Floats, count: int) -> Floats:
    measured = np.asarray(gains_codes_per_v, dtype=np.float64)
    if measured.shape != (count,):
        raise UsageError(f"fit: {measured.size} gains for {count} settings; allowed: one gain for each")
    if not bool(np.all(np.isfinite(measured) & (measured > 0.0))):
        raise NotFinite("fit: a gain is no positive finite number; leave out settings without a valid gain")
    return measured


def _priors(design: Design, identifiable: np.ndarray, ln_k_prior_percent: float) -> Floats:
    """Relative standard uncertainty before any reading; infinite where the readings decide."""
    found = [
        math.inf if known else _prior_percent(column, ln_k_prior_percent) / 100.0
        for column, known in zip(design.columns, identifiable, strict=True)
    ]
    return np.asarray(found, dtype=np.float64)


def _prior_percent(column: Column, ln_k_prior_percent: float) -> float:
    if column.name == LN_K:
        return ln_k_prior_percent
    return column.tolerance_percent or PRIOR_PERCENT


def _parameter(column: Column, change: float, u: float, identifiable: float, prior: float) -> FittedParameter:
    factor = 1.0 + change if column.weight else math.exp(change)
    slope = abs(column.nominal) * (1.0 if column.weight else factor)
    return FittedParameter(
        name=column.name,
        nominal=column.nominal,
        estimate=column.nominal * factor,
        u=slope * u,
        deviation_percent=100.0 * change,
        u_percent=100.0 * u,
        identifiable=bool(identifiable),
        prior_percent=None if math.isinf(prior) else 100.0 * prior,
    )
