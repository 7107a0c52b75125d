"""Claim: the same setting, read on the way up and on the way down, has the same gain."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.many import Asked, judge_numbers
from harness.values import Judgement, SineFit


def _judge(context: Context) -> tuple[Judgement, ...]:
    asked = []
    for setting, item in context.gathered.items():
        limit, off_percent = context.limit("up-down", setting), item.up_down_percent()
        if limit is not None and off_percent is not None:
            expanded = _expanded_percent([m.fit for m in item.valid if m.fit is not None])
            asked.append(Asked(limit, off_percent, setting, item.prediction.label, expanded))
    return judge_numbers(asked)


def _expanded_percent(fits: Sequence[SineFit]) -> float:
    """U of the difference by the noise of both records alone: anything else that differs is what is looked for."""
    noises = [math.hypot(fit.noise_code, 1.0 / math.sqrt(12.0)) / fit.amplitude_code for fit in fits[-2:]]
    samples = min(fit.samples for fit in fits)
    return 200.0 * math.hypot(*noises) * math.sqrt(2.0 / samples)


UP_DOWN = ClaimKind(item="up-down", unit="percent", scope=Scope.SETTING, needs=frozenset({Need.READINGS}), judge=_judge)
"""A mean hides what settles late, drifts or breaks now and then; a job of one direction makes no such claim."""
