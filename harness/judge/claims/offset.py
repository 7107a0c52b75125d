"""Claim: the offset of a setting's records, in percent of the converter's span; declared arithmetic is taken off."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_value
from harness.values import Judgement, SineFit


def _judge(context: Context) -> tuple[Judgement, ...]:
    converter = context.device.converter
    claims = []
    for setting, item in context.gathered.items():
        limit, fits = context.limit("offset", setting), [m.fit for m in item.valid if m.fit is not None]
        if limit is None or not fits:
            continue
        # Declared arithmetic multiplies whatever the converter's offset is and is no offset.
        span_codes = item.prediction.state.arithmetic_ratio * (converter.high_code - converter.low_code + 1)
        offset_percent = 100.0 * math.fsum(fit.offset_code for fit in fits) / len(fits) / span_codes
        claims.append(
            judge_value(
                limit,
                offset_percent,
                setting=setting,
                where=item.prediction.label,
                expanded=100.0 * _expanded_code(fits) / span_codes,
            )
        )
    return tuple(claims)


def _expanded_code(fits: Sequence[SineFit]) -> float:
    """U of the mean of fitted offsets: variance σ²/N of each, σ with what rounding adds (Kay 1993, from memory)."""
    variances = [(fit.noise_code**2 + 1.0 / 12.0) / fit.samples for fit in fits]
    return 2.0 * math.sqrt(math.fsum(variances)) / len(fits)


OFFSET = ClaimKind(
    item="offset", unit="percent of span", scope=Scope.SETTING, needs=frozenset({Need.READINGS}), judge=_judge
)
