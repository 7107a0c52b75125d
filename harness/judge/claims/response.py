"""Claim: the gain at a second frequency against the law's; compensation follows the attenuator, bandwidth the gain."""

from __future__ import annotations

import math

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Scope
from harness.judge.limits import judge_number, not_measured
from harness.values import Judgement, Purpose


def _judge(context: Context) -> tuple[Judgement, ...]:
    """100·ln of the measured ratio of the gains at the two frequencies over the predicted one."""
    claims = []
    for setting, extras in context.taken(Purpose.SECOND_FREQUENCY).items():
        limit = context.limit("second-frequency", setting)
        if limit is None:
            continue
        prediction = extras[0].rung.prediction
        here, there = min(extras, key=lambda e: e.rung.frequency_hz), max(extras, key=lambda e: e.rung.frequency_hz)
        if here.gain_codes_per_v is None or there.gain_codes_per_v is None:
            claims.append(not_measured(limit, f"{prediction.label}: {here.reason or there.reason}", setting=setting))
            continue
        measured = there.gain_codes_per_v / here.gain_codes_per_v
        predicted = context.frequency_ratio(prediction, there.rung.frequency_hz)
        where = f"{prediction.label} at {there.rung.frequency_hz:g} Hz"
        off_percent = 100.0 * math.log(measured / predicted)
        expanded = context.pair_expanded_percent(here, there, across=True)
        claims.append(judge_number(limit, off_percent, setting=setting, where=where, expanded=expanded))
    return tuple(claims)


SECOND_FREQUENCY = ClaimKind(
    item="second-frequency",
    unit="percent",
    scope=Scope.SETTING,
    needs=frozenset(),
    judge=_judge,
    purposes=frozenset({Purpose.SECOND_FREQUENCY}),
)
