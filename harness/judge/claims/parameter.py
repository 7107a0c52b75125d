"""Claim: a fitted parameter of a channel's law."""

from __future__ import annotations

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.values import Judgement, Setting


def _judge(context: Context) -> tuple[Judgement, ...]:
    """One claim per parameter with a limit that the readings can tell; it stands at the channel's first setting."""
    return tuple(
        Judgement(
            item="parameter",
            setting=Setting(row.channel, 0, 0),
            other=None,
            outcome=row.outcome,
            measured=row.deviation_percent,
            low=row.low,
            high=row.high,
            guard=row.guard,
            unit="percent",
            margin=row.margin,
            reason=row.reason,
        )
        for row in context.parameters
        if row.outcome is not None
    )


PARAMETER = ClaimKind(
    item="parameter",
    unit="percent",
    scope=Scope.PARAMETER,
    needs=frozenset({Need.READINGS, Need.FIT}),
    judge=_judge,
)
