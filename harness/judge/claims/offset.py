"""Claim: the offset of a setting's records, in percent of the converter's span."""

from __future__ import annotations

import math

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_value
from harness.values import Judgement


def _judge(context: Context) -> tuple[Judgement, ...]:
    converter = context.device.converter
    span_codes = converter.high_code - converter.low_code + 1
    claims = []
    for setting, item in context.gathered.items():
        limit, fits = context.limit("offset", setting), [m.fit for m in item.valid if m.fit is not None]
        if limit is None or not fits:
            continue
        offset_percent = 100.0 * math.fsum(fit.offset_code for fit in fits) / len(fits) / span_codes
        claims.append(judge_value(limit, offset_percent, setting=setting, where=item.prediction.label))
    return tuple(claims)


OFFSET = ClaimKind(
    item="offset", unit="percent of span", scope=Scope.SETTING, needs=frozenset({Need.READINGS}), judge=_judge
)
