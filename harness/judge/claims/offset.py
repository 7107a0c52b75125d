"""Claim: the offset of a setting's records, in percent of the converter's span; declared arithmetic is taken off."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import SIZE
from harness.judge.many import Asked, judge_numbers
from harness.judge.measured import Measured
from harness.values import Judgement


def _judge(context: Context) -> tuple[Judgement, ...]:
    converter = context.device.converter
    asked = []
    for setting, item in context.gathered.items():
        limit, found = context.limit("offset", setting), [m for m in item.valid if m.fit is not None]
        fits = [m.fit for m in found if m.fit is not None]
        if limit is None or not fits:
            continue
        # Declared arithmetic multiplies whatever the converter's offset is and is no offset.
        span_codes = item.prediction.state.arithmetic_ratio * (converter.high_code - converter.low_code + 1)
        offset_percent = 100.0 * math.fsum(fit.offset_code for fit in fits) / len(fits) / span_codes
        expanded = 100.0 * _expanded_code(found) / span_codes
        asked.append(Asked(limit, offset_percent, setting, item.prediction.label, expanded, said=SIZE))
    return judge_numbers(asked)


def _expanded_code(found: Sequence[Measured]) -> float:
    """U of the mean of fitted offsets: variance σ²/N of each, σ with what rounding adds (Kay 1993, from memory); more
    where hum was taken along."""
    variances = [
        (one.fitted.offset_spread_ratio if one.fitted else 1.0) ** 2
        * (one.fit.noise_code**2 + 1.0 / 12.0)
        / one.fit.samples
        for one in found
        if one.fit is not None
    ]
    return 2.0 * math.sqrt(math.fsum(variances)) / len(found)


OFFSET = ClaimKind(
    item="offset", unit="percent of span", scope=Scope.SETTING, needs=frozenset({Need.READINGS}), judge=_judge
)
