"""Claim: the converter gives every code."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import judge_number
from harness.judge.waveform import PooledCodes
from harness.values import Judgement, Setting

MOST_NAMED = 8
"""Codes named in a reason; the rest are counted."""


def _judge(context: Context) -> tuple[Judgement, ...]:
    """Codes that never came over all hardware settings of a channel; it stands at the channel's first setting.

    Silent where a channel has too few sound records: what spoils these is judged at each setting. Counted codes have no
    uncertainty: what chance may do stands in the hits that each is owed.
    """
    claims = []
    for channel, pooled in context.pooled.items():
        setting = Setting(channel, 0, 0)
        limit = context.limit("missing-codes", setting)
        if limit is not None and pooled.enough:
            missing, where = float(pooled.missing.size), _where(pooled)
            claims.append(
                judge_number(limit, missing, setting=setting, where=where, expanded=0.0, said="{value:.0f}")
            )
    return tuple(claims)


def _where(pooled: PooledCodes) -> str:
    looked_at = f"ch{pooled.channel} converter, {int(pooled.looked_at.sum())} codes looked at"
    if pooled.spacing > 1:
        return f"{looked_at}, only every {pooled.spacing}. comes"
    named = ", ".join(str(code) for code in pooled.missing[:MOST_NAMED].tolist())
    more = pooled.missing.size - MOST_NAMED
    return f"{looked_at}, never {named}{f' and {more} more' if more > 0 else ''}"


MISSING_CODES = ClaimKind(
    item="missing-codes",
    unit="codes",
    scope=Scope.CHANNEL,
    needs=frozenset({Need.READINGS, Need.CODES}),
    judge=_judge,
)
