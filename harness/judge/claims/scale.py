"""Claim: the volts that the device displays for a code are those of the setting."""

from __future__ import annotations

import math

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.many import Asked, judge_numbers
from harness.judge.rows import Gathered
from harness.values import Judgement


def scale_off_percent(gathered: Gathered) -> float | None:
    """How far the displayed scale of a setting is from the law, at the reading where it is farthest.

    Args:
        gathered: the setting's readings.
    Returns:
        100·ln(displayed over predicted volts a code); None without a valid reading.
    Source:
        code domain against volt domain: a wrong row of scales leaves the codes right (common practice, no source).
    """
    gain_codes_per_v = gathered.prediction.gain_codes_per_v
    found = [100.0 * math.log(m.scale_v_per_code * gain_codes_per_v) for m in gathered.valid if m.scale_v_per_code]
    return max(found, key=abs, default=None)


def _judge(context: Context) -> tuple[Judgement, ...]:
    asked = []
    for setting, item in context.gathered.items():
        limit, off_percent = context.limit("scale", setting), scale_off_percent(item)
        if limit is not None and off_percent is not None:
            # A displayed number against a predicted one: nothing is measured here.
            asked.append(Asked(limit, off_percent, setting, item.prediction.label, 0.0))
    return judge_numbers(asked)


SCALE = ClaimKind(item="scale", unit="percent", scope=Scope.SETTING, needs=frozenset({Need.READINGS}), judge=_judge)
"""For devices that display the volts of a setting; a bare gain stage displays nothing."""
