"""Claim: the gain of a setting at DC, by two steady levels, against the law; a capacitor in the path has none."""

from __future__ import annotations

import math

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Scope
from harness.judge.limits import judge_claim, judge_number, not_measured
from harness.values import Judgement, Outcome, Purpose


def _judge(context: Context) -> tuple[Judgement, ...]:
    """100·ln of the gain at DC over the predicted one."""
    claims = []
    for setting, gain in context.at_dc.gains.items():
        limit, prediction = context.limit("dc-gain", setting), context.at_dc.predictions[setting]
        if limit is None:
            continue
        if isinstance(gain, str):
            claims.append(not_measured(limit, f"{prediction.label}: {gain}", setting=setting))
            continue
        if gain.gain_codes_per_v <= 0.0:
            found = f"{gain.gain_codes_per_v:.3g} codes/V where {prediction.gain_codes_per_v:.4g} are predicted"
            reason = f"{prediction.label}: dc-gain {found}: a steady level does not pass, or its sign is turned"
            claims.append(judge_claim("dc-gain", Outcome.FAIL, reason, setting=setting))
            continue
        dither = f", {gain.positions} levels each" if gain.positions > 1 else ""
        claims.append(
            judge_number(
                limit,
                100.0 * math.log(gain.gain_codes_per_v / prediction.gain_codes_per_v),
                setting=setting,
                where=f"{prediction.label}, ±{gain.level_v:.4g} V steady{dither}",
                expanded=context.at_dc.expanded_percent.get(setting),
            )
        )
    return tuple(claims)


DC_GAIN = ClaimKind(
    item="dc-gain",
    unit="percent",
    scope=Scope.SETTING,
    needs=frozenset(),
    judge=_judge,
    purposes=frozenset({Purpose.DC_PLUS, Purpose.DC_MINUS}),
)
