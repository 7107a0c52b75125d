"""Claim: no try at a setting contradicts the others. Never in a limits file: what breaks now and then always counts."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_claim
from harness.values import Judgement, Outcome

CONTRADICTION_RATIO = 1.5
"""A record without a clip whose whole span allows for less than this part of the gain was no record of that gain."""


def _judge(context: Context) -> tuple[Judgement, ...]:
    claims = []
    for setting, item in context.gathered.items():
        gain = item.gain_codes_per_v
        weak = [most for most in item.tries_codes_per_v if gain is not None and most * CONTRADICTION_RATIO < gain]
        if gain is not None and weak:
            text = (
                f"{item.prediction.label}: {len(weak)} of {item.attempts} tries had at most ×{min(weak) / gain:.2g} of "
                "the gain that the others have: something breaks now and then"
            )
            claims.append(judge_claim("steady", Outcome.FAIL, text, setting=setting))
    return tuple(claims)


STEADY = ClaimKind(
    item="steady",
    unit="",
    scope=Scope.SETTING,
    needs=frozenset({Need.READINGS}),
    judge=_judge,
    silent=True,
    in_limits=False,
)
"""Tries at another level mend a record that was lost, and would hide the loss."""
