"""Claim: another channel at another frequency is hardly seen in this one."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Scope
from harness.judge.limits import judge_value, not_measured
from harness.values import Judgement, Purpose


def _judge(context: Context) -> tuple[Judgement, ...]:
    """Amplitude at the other channel's frequency in percent of that channel's own record: 1 percent is -40 dB.

    Declared arithmetic is taken off: it doubles what couples and is no coupling.
    """
    claims = []
    for setting, extras in context.taken(Purpose.CROSSTALK).items():
        limit, extra = context.limit("crosstalk", setting), extras[-1]
        if limit is None:
            continue
        label, aggressor = extra.rung.prediction.label, extra.rung.aggressor
        if extra.crosstalk_ratio is None or aggressor is None:
            claims.append(not_measured(limit, f"{label}: {extra.reason}", setting=setting))
            continue
        percent = 100.0 * extra.crosstalk_ratio / extra.rung.prediction.state.arithmetic_ratio
        where = f"{label} beside {aggressor.prediction.label}"
        expanded = context.beside.heard_expanded_percent(extra.heard) if context.beside and extra.heard else None
        claims.append(judge_value(limit, percent, setting=setting, where=where, expanded=expanded))
    return tuple(claims)


CROSSTALK = ClaimKind(
    item="crosstalk",
    unit="percent",
    scope=Scope.SETTING,
    needs=frozenset(),
    judge=_judge,
    purposes=frozenset({Purpose.CROSSTALK}),
)
