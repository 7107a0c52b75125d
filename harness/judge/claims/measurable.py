"""Claim: every planned reading of a setting could be measured. Never in a limits file: it always counts."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_claim
from harness.judge.rows import Gathered
from harness.values import Judgement, Outcome, ReadingStatus


def measurable_claims(gathered: Gathered) -> tuple[Judgement, ...]:
    """Whether every planned reading of the setting could be measured.

    Args:
        gathered: the setting's readings.
    Returns:
        PASS, or one claim for each reading that is missing, invalid or unmeasurable.
    Source:
        design rule: INVALID is neither a pass nor a product failure; no valid level from a proven source is a failure.
    """
    setting, label = gathered.prediction.setting, gathered.prediction.label
    claims: list[Judgement] = []
    for reading in gathered.final:
        if reading.status is ReadingStatus.UNMEASURABLE:
            text = f"{label}: gain not measurable: {reading.reason}"
            claims.append(judge_claim("measurable", Outcome.FAIL, text, setting=setting))
        elif reading.gain_codes_per_v is None:
            text = f"{label}: reading invalid ({reading.direction}): {reading.reason or reading.status}"
            claims.append(judge_claim("measurable", Outcome.INVALID, text, setting=setting))
    missing = gathered.planned - len(gathered.final)
    if missing > 0:
        text = f"{label}: {'not read' if not gathered.final else f'{missing} of {gathered.planned} readings missing'}"
        claims.append(judge_claim("measurable", Outcome.INVALID, text, setting=setting))
    return tuple(claims) or (judge_claim("measurable", Outcome.PASS, "", setting=setting),)


def _judge(context: Context) -> tuple[Judgement, ...]:
    return tuple(claim for item in context.gathered.values() for claim in measurable_claims(item))


MEASURABLE = ClaimKind(
    item="measurable",
    unit="",
    scope=Scope.SETTING,
    needs=frozenset({Need.READINGS}),
    judge=_judge,
    in_limits=False,
    provisional=True,
)
