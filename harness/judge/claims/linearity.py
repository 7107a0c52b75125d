"""Claim: the gain of one setting is the same at two levels; a ladder at constant fill cannot see compression."""

from __future__ import annotations

import math

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Scope
from harness.judge.limits import judge_number, not_measured
from harness.values import Judgement, Purpose


def _judge(context: Context) -> tuple[Judgement, ...]:
    """100·ln of the gain at the upper level over that at the lower one."""
    claims = []
    for setting, extras in context.taken(Purpose.TWO_LEVEL).items():
        limit = context.limit("two-level", setting)
        if limit is None:
            continue
        label = extras[0].rung.prediction.label
        low, high = min(extras, key=lambda e: e.rung.fill_ratio), max(extras, key=lambda e: e.rung.fill_ratio)
        if low.gain_codes_per_v is None or high.gain_codes_per_v is None:
            claims.append(not_measured(limit, f"{label}: {low.reason or high.reason}", setting=setting))
            continue
        bent_percent = 100.0 * math.log(high.gain_codes_per_v / low.gain_codes_per_v)
        where = f"{label}, fill {low.rung.fill_ratio:.2g} to {high.rung.fill_ratio:.2g}"
        expanded = context.pair_expanded_percent(low, high, bent=True)
        claims.append(judge_number(limit, bent_percent, setting=setting, where=where, expanded=expanded))
    return tuple(claims)


TWO_LEVEL = ClaimKind(
    item="two-level",
    unit="percent",
    scope=Scope.SETTING,
    needs=frozenset(),
    judge=_judge,
    purposes=frozenset({Purpose.TWO_LEVEL}),
)
