"""Claim: a setting against the law fitted to its channel; source errors cancel, so the limit is tighter."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.many import Asked, judge_numbers
from harness.values import Judgement


def _judge(context: Context) -> tuple[Judgement, ...]:
    asked = []
    for setting, percent in context.fitted_percent.items():
        limit = context.limit("residual", setting)
        if limit is not None:
            label, expanded = context.gathered[setting].prediction.label, context.fitted_expanded_percent.get(setting)
            asked.append(Asked(limit, percent, setting, label, expanded))
    return judge_numbers(asked)


RESIDUAL = ClaimKind(
    item="residual",
    unit="percent",
    scope=Scope.SETTING,
    needs=frozenset({Need.READINGS, Need.FIT}),
    judge=_judge,
)
