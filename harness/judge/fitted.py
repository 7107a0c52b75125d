"""The third layer: residuals to a fitted law, and limits on the fitted parameters; source errors cancel in both."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from harness.errors import FitFailed
from harness.judge.gain_budget import COVERAGE_RATIO, NO_BUDGET, GainBudget
from harness.judge.limit_set import LimitSet
from harness.judge.limits import fails, judge_number
from harness.judge.rows import Gathered
from harness.judge.uncertainty import coverage_factor
from harness.law import GainLaw, LawFit, fit_law
from harness.values import ParameterResult, Setting

LEAST_SETTINGS = 4
"""Fewer cannot show a residual to anything."""
LEAST_U_PERCENT = 0.02
"""Repeatability that the noise of a fit does not show, where none is stated: settling, drift between up and down."""
TOGETHER = 256
"""Residuals whose uncertainty is worked out at once: all of a long run would need a matrix of its square."""
GROSS_PERCENT = 20.0
"""Settings farther off than this are no part of a law that is fitted without an absolute limit."""


def reading_u_percent(gathered: Gathered) -> float:
    """How uncertain the gain of one setting is by itself, without what is common to all settings.

    Args:
        gathered: the setting's readings, at least one of them valid.
    Returns:
        standard uncertainty of the mean, percent.
    Source:
        variance 2σ²/N of a fitted amplitude (Kay 1993, example 3.14, from memory); half the up and down difference.
    """
    variances = []
    for measured in gathered.valid:
        fit = measured.fit
        if fit is not None and fit.amplitude_code > 0.0:
            noise_code = math.hypot(fit.noise_code, 1.0 / math.sqrt(12.0))
            variances.append((100.0 * noise_code * math.sqrt(2.0 / fit.samples) / fit.amplitude_code) ** 2)
    mean = sum(variances) / max(len(variances), 1) ** 2
    repeat = (gathered.up_down_percent() or 0.0) / 2.0
    return math.sqrt(mean + repeat**2 / 2.0 + LEAST_U_PERCENT**2)


def fit_channels(
    law: GainLaw, gathered: Iterable[Gathered], limits: LimitSet, budget: GainBudget = NO_BUDGET
) -> dict[int, LawFit]:
    """The law of each channel as its sound settings show it.

    Args:
        law: of the device.
        gathered: all settings of a run.
        limits: as fit_channel.
        budget: as fit_channel.
    Returns:
        by channel; one with too few settings is not among them.
    Source:
        see fit_channel.
    """
    by_channel: dict[int, list[Gathered]] = {}
    for item in gathered:
        by_channel.setdefault(item.prediction.setting.channel, []).append(item)
    fits = {channel: fit_channel(law, items, limits, budget) for channel, items in by_channel.items()}
    return {channel: fit for channel, fit in fits.items() if fit is not None}


def fit_channel(
    law: GainLaw, gathered: Sequence[Gathered], limits: LimitSet, budget: GainBudget = NO_BUDGET
) -> LawFit | None:
    """The law of one channel as its sound settings show it.

    Settings that fail the absolute limit are left out: they fail already, and one dead bit must not bend the law that
    the others are held to.

    Args:
        law: of the device.
        gathered: all settings of one channel.
        limits: of the run; where there is none on the gain only gross deviations are left out.
        budget: of the run: the weight of each setting; where none is stated, its noise and LEAST_U_PERCENT.
    Returns:
        the fit; None with too few settings.
    Source:
        robust fit of ln G (Huber); practice: residuals to a fitted law bear limits several times tighter.
    """
    sound = [item for item in gathered if _fits(item, limits, budget)]
    if len(sound) < LEAST_SETTINGS:
        return None
    gains = np.asarray([item.gain_codes_per_v for item in sound], dtype=np.float64)
    stated = [budget.own_standard_percent(item.prediction.setting) for item in sound]
    u_percent = np.asarray(
        [reading_u_percent(item) if u is None else u for item, u in zip(sound, stated, strict=True)], dtype=np.float64
    )
    settings = [item.prediction.setting for item in sound]
    common_percent, shared_percent = budget.shared(settings) or (0.0, None)
    try:
        return fit_law(
            law, settings, gains, u_percent=u_percent, shared_percent=shared_percent, common_percent=common_percent
        )
    except FitFailed:
        return None


def _fits(item: Gathered, limits: LimitSet, budget: GainBudget) -> bool:
    setting, residual_percent = item.prediction.setting, item.residual_percent()
    gain = limits.at("gain", setting)
    if residual_percent is None:
        return False
    if gain is None:
        return abs(residual_percent) <= GROSS_PERCENT
    return not fails(residual_percent, gain, expanded=budget.gain_expanded_percent(setting))


def residual_expanded_percent(fit: LawFit, budget: GainBudget) -> tuple[float, ...]:
    """How uncertain the residuals of a fit are.

    Args:
        fit: of one channel.
        budget: of the run.
    Returns:
        expanded uncertainties, k = 2, in the order of the fit's settings; none where nothing is stated. What is common
        to all settings is in none of them, the error of a source range as far as the fit cannot take it up.
    Raises:
        NotFinite: the fit holds a NaN.
    Source:
        residuals are (1 - H)·y: u² = (1 - H)·V·(1 - H)ᵀ, JCGM 102:2011, 6.2.
    """
    found: list[float] = []
    for first in range(0, len(fit.settings), TOGETHER):
        known = budget.sums(fit.residual_sensitivity(first, first + TOGETHER), fit.settings)
        found += [] if known is None else known.expanded_percent(probability_ratio=COVERAGE_RATIO).tolist()
    return tuple(found)


def parameter_expanded_percent(fit: LawFit, budget: GainBudget) -> tuple[float, ...]:
    """How uncertain the parameters of a fit are.

    Args:
        fit: of one channel.
        budget: of the run.
    Returns:
        expanded uncertainties, k = 2, in the order of the fit's parameters. Where residuals scatter more than the
        budget says, the scatter counts, with the degrees of freedom of the fit.
    Raises:
        NotFinite: the fit holds a NaN.
    Source:
        JCGM 100:2008, G.4: Student's factor for the effective degrees of freedom of A·V·Aᵀ.
    """
    known = budget.sums(fit.sensitivity, fit.settings)
    free = np.full(len(fit.parameters), np.inf) if known is None else known.dof
    if fit.scale_ratio > 1.0:
        free = np.minimum(free, max(fit.dof, 1))
    factors = coverage_factor(free, probability_ratio=COVERAGE_RATIO)
    return tuple(float(k * parameter.u_percent) for k, parameter in zip(factors, fit.parameters, strict=True))


def judge_parameters(
    channel: int, fit: LawFit, limits: LimitSet, budget: GainBudget = NO_BUDGET
) -> tuple[ParameterResult, ...]:
    """The fitted parameters of one channel, each with its limit where there is one.

    Args:
        channel: 1-based.
        fit: of the channel.
        limits: all items; those of parameters stand under `parameter NAME`.
        budget: of the run: it knows how well each uncertainty is known.
    Returns:
        one row per parameter. One that the readings cannot tell has no outcome, and the reason says that it was not
        exercised: only a prior speaks for it.
    Source:
        practice: a drifting parameter shows long before a setting fails.
    """
    rows = []
    for parameter, expanded in zip(fit.parameters, parameter_expanded_percent(fit, budget), strict=True):
        limit = limits.at(f"parameter {parameter.name}", Setting(channel, 0, 0))
        outcome, margin, reason, guard = None, None, "", limit.guard if limit else 0.0
        where = f"ch{channel} {parameter.name}"
        if limit is not None and not parameter.identifiable:
            reason = f"{where}: not exercised, this ladder cannot tell it from other parameters"
        elif limit is not None:
            claim = judge_number(
                limit,
                parameter.deviation_percent,
                setting=Setting(channel, 0, 0),
                where=where,
                expanded=expanded,
            )
            outcome, margin, reason, guard = claim.outcome, claim.margin, claim.reason, claim.guard
        rows.append(
            ParameterResult(
                channel=channel,
                name=parameter.name,
                nominal=parameter.nominal,
                estimate=parameter.estimate,
                deviation_percent=parameter.deviation_percent,
                u_percent=parameter.u_percent,
                identifiable=parameter.identifiable,
                low=limit.low if limit else None,
                high=limit.high if limit else None,
                outcome=outcome,
                reason=reason,
                guard=guard,
                margin=margin,
                expanded_percent=expanded,
            )
        )
    return tuple(rows)
