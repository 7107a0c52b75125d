"""Claim: the absolute gain of a setting against the law."""

from __future__ import annotations

import math
from dataclasses import replace

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.many import Asked, judge_numbers
from harness.values import UNIT, Judgement, Outcome, golden_says_of, shared_factor_of

ALIKE_PERCENT = 3.0
"""Gains that are off by the factor that all channels share lie this near to it; see the self-check."""


def _judge(context: Context) -> tuple[Judgement, ...]:
    asked = []
    known = context.uncertainty
    for setting, item in context.gathered.items():
        limit, residual_percent = context.limit("gain", setting), item.residual_percent()
        if limit is None or residual_percent is None:
            continue
        expanded = known.gain_expanded_percent(setting) if known else None
        asked.append(Asked(limit, residual_percent, setting, item.prediction.label, expanded))
    claims = judge_numbers(asked)
    ratio, said = shared_factor_of(context.events), golden_says_of(context.events)
    if ratio is None:
        return claims
    return tuple(_shared(claim, one.value, ratio, said) for claim, one in zip(claims, asked, strict=True))


def _shared(claim: Judgement, residual_percent: float, ratio: float, said: tuple[str, str] | None) -> Judgement:
    """Of a gain that is off by what all channels share: no opinion, unless a golden unit has told station from unit."""
    if claim.outcome is not Outcome.FAIL or abs(residual_percent - 100.0 * math.log(ratio)) > ALIKE_PERCENT:
        return claim
    if said is not None and said[0] == UNIT:
        return replace(claim, reason=f"{claim.reason}; all channels share ×{ratio:.4g}: {said[1]}")
    return replace(
        claim,
        outcome=Outcome.INCONCLUSIVE,
        reason=f"{claim.reason}; all channels share ×{ratio:.4g}, and the run cannot tell station from unit: measure a "
        "golden unit, or another one, on this station",
    )


GAIN = ClaimKind(
    item="gain",
    unit="percent",
    scope=Scope.SETTING,
    needs=frozenset({Need.READINGS}),
    judge=_judge,
    provisional=True,
)
