"""Claim: the absolute gain of a setting against the law."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_number
from harness.values import Judgement


def _judge(context: Context) -> tuple[Judgement, ...]:
    claims = []
    for setting, item in context.gathered.items():
        limit, residual_percent = context.limit("gain", setting), item.residual_percent()
        if limit is None or residual_percent is None:
            continue
        known = context.uncertainty
        claims.append(
            judge_number(
                limit,
                residual_percent,
                setting=setting,
                where=item.prediction.label,
                expanded=known.gain_expanded_percent(setting) if known else None,
            )
        )
    return tuple(claims)


GAIN = ClaimKind(
    item="gain",
    unit="percent",
    scope=Scope.SETTING,
    needs=frozenset({Need.READINGS}),
    judge=_judge,
    provisional=True,
)
