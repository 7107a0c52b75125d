"""Claims: the size of a fine or coarse step against the law's."""

from __future__ import annotations

from functools import partial

from harness.config import LimitItem
from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_number
from harness.judge.steps import Step
from harness.values import Judgement


def _limit(context: Context, step: Step) -> LimitItem | None:
    """The row that holds for a step.

    A fine step that switches another stage than the code, such as a pre-gain, is as uncertain as that stage: the row of
    the coarse steps holds, where it is the wider one. One that spans more positions than its row allows for is not
    judged as a step: what lies between the two positions has not been looked at.
    """
    setting = step.upper.setting
    limit = context.limit(f"{step.kind}-step", setting)
    if limit is not None and limit.apart is not None and setting.fine - step.lower.setting.fine > limit.apart:
        return None
    wide = context.limit("coarse-step", setting)
    if step.kind == "coarse" or limit is None or wide is None or not _switches(context, step):
        return limit
    narrower = None in (limit.high, wide.high) or (limit.high or 0.0) >= (wide.high or 0.0)
    return limit if narrower else wide.model_copy(update={"item": limit.item})


def _switches(context: Context, step: Step) -> bool:
    """Whether anything but the code changes."""
    lower, upper = dict(step.lower.state.controls), dict(step.upper.state.controls)
    return any(lower[name] != value for name, value in upper.items() if name != context.law.code_control)


def _judge(context: Context, *, kind: str) -> tuple[Judgement, ...]:
    claims = []
    for step in context.steps:
        limit = _limit(context, step) if step.kind == kind else None
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
