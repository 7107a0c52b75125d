"""Claim: a relay that was moved away and back leaves the gain where it was."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Scope
from harness.judge.extra_reading import ExtraMeasured
from harness.judge.gain_budget import COVERAGE_RATIO
from harness.judge.limits import judge_value, not_measured
from harness.judge.uncertainty import added_variance_interval
from harness.values import Judgement, Purpose

SIGNIFICANT = 0.01
"""Chance that two equal scatters look this different; F(9, 9) at 1 % is 5.35."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """What toggling adds to the scatter of a gain."""

    variance_ratio: float
    """With over without toggle; infinite where nothing scatters without."""
    critical_ratio: float
    """Above it the scatters differ."""
    added_percent: float
    """Standard deviation that toggling adds; 0 where the scatters do not differ."""
    bounds_percent: tuple[float, float]
    """Between which it lies with the probability of k = 2."""

    def expanded_percent(self, high: float | None) -> float:
        """U towards a limit: how far the interval reaches to the side on which the limit lies.

        Few readings leave the interval of a scatter much longer above than below; what decides is the end that faces
        the limit.
        """
        below = high is None or self.added_percent <= high
        return self.bounds_percent[1] - self.added_percent if below else self.added_percent - self.bounds_percent[0]


def added_scatter(without_percent: Sequence[float], with_percent: Sequence[float]) -> Scatter:
    """How much scatter toggling adds, and whether that is more than chance.

    Args:
        without_percent: 100·ln of the gains, nothing moved in between, at least 2.
        with_percent: the same with the relays moved away and back before each, at least 2.
    Returns:
        ratio of variances, its critical value, and the added standard deviation with the bounds of its interval.
    Source:
        F test of two variances, one-sided (Snedecor and Cochran, from memory); F(9, 9) at 1 % is 5.35. The interval is
        that of added_variance_interval.
    """
    from scipy.special import fdtri

    without, toggled = (float(np.var(values, ddof=1)) for values in (without_percent, with_percent))
    ratio = toggled / without if without > 0.0 else math.inf if toggled > 0.0 else 1.0
    critical = float(fdtri(len(with_percent) - 1, len(without_percent) - 1, 1.0 - SIGNIFICANT))
    added = math.sqrt(max(toggled - without, 0.0)) if ratio > critical else 0.0
    dof = float(len(without_percent) - 1), float(len(with_percent) - 1)
    ends = added_variance_interval(without, toggled, dof=dof, probability_ratio=COVERAGE_RATIO)
    # By chance toggled readings may scatter so much less that nothing seems left for the relay: all of it may be its.
    low, high = math.sqrt(max(ends[0], 0.0)), math.sqrt(max(ends[1], toggled))
    return Scatter(
        variance_ratio=ratio,
        critical_ratio=critical,
        added_percent=added,
        bounds_percent=(min(low, added), max(high, added)),
    )


def _judge(context: Context) -> tuple[Judgement, ...]:
    claims = []
    toggled = context.taken(Purpose.REPEAT_TOGGLED)
    for setting, without in context.taken(Purpose.REPEAT).items():
        limit, moved = context.limit("toggle-scatter", setting), toggled.get(setting, [])
        if limit is None:
            continue
        label = without[0].rung.prediction.label
        logs = [_logs_percent(extras) for extras in (without, moved)]
        bad = [extra for extra in (*without, *moved) if extra.gain_codes_per_v is None]
        if bad or min(map(len, logs)) < 2:
            why = f"{label}: {len(bad)} of {len(without) + len(moved)} readings: {bad[0].reason if bad else 'missing'}"
            claims.append(not_measured(limit, why, setting=setting))
            continue
        found = added_scatter(*logs)
        where = f"{label}, F {found.variance_ratio:.3g} (chance up to {found.critical_ratio:.3g})"
        expanded = found.expanded_percent(limit.high)
        claims.append(judge_value(limit, found.added_percent, setting=setting, where=where, expanded=expanded))
    return tuple(claims)


def _logs_percent(extras: Sequence[ExtraMeasured]) -> list[float]:
    return [100.0 * math.log(e.gain_codes_per_v) for e in extras if e.gain_codes_per_v is not None]


TOGGLE_SCATTER = ClaimKind(
    item="toggle-scatter",
    unit="percent",
    scope=Scope.SETTING,
    needs=frozenset(),
    judge=_judge,
    purposes=frozenset({Purpose.REPEAT, Purpose.REPEAT_TOGGLED}),
)
