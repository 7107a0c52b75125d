"""Claim: a setting has the same gain for either polarity; a sine fitted as a whole does not see which half is short."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Scope
from harness.judge.limits import judge_number, not_measured
from harness.values import Judgement, Purpose


def _judge(context: Context) -> tuple[Judgement, ...]:
    """Amplitude of the positive half waves against that of the negative ones, at the upper of two levels."""
    claims = []
    for setting, extras in context.taken(Purpose.TWO_LEVEL).items():
        limit, high = context.limit("polarity", setting), max(extras, key=lambda e: e.rung.fill_ratio)
        if limit is None:
            continue
        where, found = f"{high.rung.prediction.label}, fill {high.rung.fill_ratio:.2g}", high.half_waves
        if found is None:
            claims.append(not_measured(limit, f"{where}: {high.reason or 'no record is kept'}", setting=setting))
            continue
        expanded = 2.0 * found.u_percent
        claims.append(judge_number(limit, found.difference_percent, setting=setting, where=where, expanded=expanded))
    return tuple(claims)


POLARITY = ClaimKind(
    item="polarity",
    unit="percent",
    scope=Scope.SETTING,
    needs=frozenset(),
    judge=_judge,
    purposes=frozenset({Purpose.TWO_LEVEL}),
)
