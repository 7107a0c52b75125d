"""Claims: the size of a fine or coarse step against the law's."""

from __future__ import annotations

from functools import partial

from harness.config import LimitItem
from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.many import Asked, judge_numbers
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
    return limit if narrower else wide


def _switches(context: Context, step: Step) -> bool:
    """Whether anything but the code changes."""
    code, both = context.law.code_control, zip(step.lower.state.controls, step.upper.state.controls, strict=True)
    return any(before != after and after[0] != code for before, after in both)


def _judge(context: Context, *, kind: str) -> tuple[Judgement, ...]:
    asked: list[Asked] = []
    renamed: dict[int, LimitItem] = {}
    known = context.uncertainty
    for step in context.steps:
        limit = _limit(context, step) if step.kind == kind else None
        if limit is None:
            continue
        if limit.item != f"{kind}-step":
            # Each row once: numbers of one row are decided together.
            if id(limit) not in renamed:
                renamed[id(limit)] = limit.model_copy(update={"item": f"{kind}-step"})
            limit = renamed[id(limit)]
        lower, upper = step.lower.setting, step.upper.setting
        expanded = known.step_expanded_percent(lower, upper) if known else None
        asked.append(Asked(limit, step.residual_percent, upper, step.where, expanded, lower))
    return judge_numbers(asked)


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
