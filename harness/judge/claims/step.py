"""Claims: the size of a fine or coarse step against the law's."""

from __future__ import annotations

from functools import partial

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_number
from harness.values import Judgement


def _judge(context: Context, *, kind: str) -> tuple[Judgement, ...]:
    claims = []
    for step in context.steps:
        limit = context.limit(f"{kind}-step", step.upper.setting) if step.kind == kind else None
        if limit is None:
            continue
        known = context.uncertainty
        claims.append(
            judge_number(
                limit,
                step.residual_percent,
                setting=step.upper.setting,
                other=step.lower.setting,
                where=step.where,
                expanded=known.step_expanded_percent(step.lower.setting, step.upper.setting) if known else None,
            )
        )
    return tuple(claims)


FINE_STEP, COARSE_STEP = (
    ClaimKind(
        item=f"{kind}-step",
        unit="percent",
        scope=Scope.STEP,
        needs=frozenset({Need.READINGS}),
        judge=partial(_judge, kind=kind),
    )
    for kind in ("fine", "coarse")
)
