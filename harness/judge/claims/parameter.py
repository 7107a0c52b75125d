"""Claim: a fitted parameter of a channel's law."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_number
from harness.values import Judgement, Setting


def _judge(context: Context) -> tuple[Judgement, ...]:
    """One claim per parameter with a limit that the readings can tell; it stands at the channel's first setting."""
    claims = []
    for row in context.parameters:
        setting = Setting(row.channel, 0, 0)
        limit = context.limit(f"parameter {row.name}", setting)
        if limit is None or row.outcome is None:
            continue
        where = f"ch{row.channel} {row.name}"
        claims.append(
            judge_number(limit, row.deviation_percent, setting=setting, where=where, expanded=row.expanded_percent)
        )
    return tuple(claims)


PARAMETER = ClaimKind(
    item="parameter",
    unit="percent",
    scope=Scope.PARAMETER,
    needs=frozenset({Need.READINGS, Need.FIT}),
    judge=_judge,
)
