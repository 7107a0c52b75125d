"""Claim: the same setting, read on the way up and on the way down, has the same gain."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_number
from harness.values import Judgement


def _judge(context: Context) -> tuple[Judgement, ...]:
    claims = []
    for setting, item in context.gathered.items():
        limit, off_percent = context.limit("up-down", setting), item.up_down_percent()
        if limit is not None and off_percent is not None:
            claims.append(judge_number(limit, off_percent, setting=setting, where=item.prediction.label))
    return tuple(claims)


UP_DOWN = ClaimKind(item="up-down", unit="percent", scope=Scope.SETTING, needs=frozenset({Need.READINGS}), judge=_judge)
"""A mean hides what settles late, drifts or breaks now and then; a job of one direction makes no such claim."""
