"""Claim: a setting against the law fitted to its channel; source errors cancel, so the limit is tighter."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_number
from harness.values import Judgement


def _judge(context: Context) -> tuple[Judgement, ...]:
    claims = []
    for setting, percent in context.fitted_percent.items():
        limit = context.limit("residual", setting)
        if limit is None:
            continue
        claims.append(
            judge_number(
                limit,
                percent,
                setting=setting,
                where=context.gathered[setting].prediction.label,
                expanded=context.fitted_expanded_percent.get(setting),
            )
        )
    return tuple(claims)


RESIDUAL = ClaimKind(
    item="residual",
    unit="percent",
    scope=Scope.SETTING,
    needs=frozenset({Need.READINGS, Need.FIT}),
    judge=_judge,
)
