"""Claim: the gain rises with every fine step."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_claim
from harness.values import Judgement, Outcome


def _judge(context: Context) -> tuple[Judgement, ...]:
    claims = []
    for step in context.steps:
        if step.kind != "fine" or context.limit("monotonic", step.upper.setting) is None:
            continue
        rises = step.measured_ratio > 1.0 or step.predicted_ratio <= 1.0
        seen = f"×{step.measured_ratio:.5g}, planned ×{step.predicted_ratio:.5g}"
        text = "" if rises else f"{step.where}: gain does not rise ({seen})"
        outcome = Outcome.PASS if rises else Outcome.FAIL
        claims.append(judge_claim("monotonic", outcome, text, setting=step.upper.setting, other=step.lower.setting))
    return tuple(claims)


MONOTONIC = ClaimKind(item="monotonic", unit="", scope=Scope.STEP, needs=frozenset({Need.READINGS}), judge=_judge)
