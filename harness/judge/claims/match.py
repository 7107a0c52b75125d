"""Claim: a channel has the gain of the others at the same setting; what is common to all of them cancels."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import fails, judge_number
from harness.values import Judgement, Setting


def _judge(context: Context) -> tuple[Judgement, ...]:
    """The others' mean leaves out those that fail the absolute limit: one bad channel must not fail the good ones."""
    by_place: dict[tuple[int, int], dict[Setting, float]] = {}
    for setting, item in context.gathered.items():
        residual_percent = item.residual_percent()
        if residual_percent is not None:
            by_place.setdefault((setting.coarse, setting.fine), {})[setting] = residual_percent
    claims = []
    for setting, item in context.gathered.items():
        limit, alike = context.limit("channel-match", setting), by_place.get((setting.coarse, setting.fine), {})
        others = {
            other: percent for other, percent in alike.items() if other != setting and _sound(context, other, percent)
        }
        if limit is None or setting not in alike or not others:
            continue
        # All channels have one prediction, so that the difference of residuals is that of the gains.
        difference_percent = alike[setting] - math.fsum(others.values()) / len(others)
        claims.append(
            judge_number(
                limit,
                difference_percent,
                setting=setting,
                where=item.prediction.label,
                expanded=_expanded_percent(context, setting, tuple(others)),
            )
        )
    return tuple(claims)


def _expanded_percent(context: Context, setting: Setting, others: Sequence[Setting]) -> float | None:
    """Of the difference to a mean: the own parts alone, for the source is the same."""
    if context.uncertainty is None:
        return None
    own = context.uncertainty.own_expanded_percent(setting)
    theirs = [context.uncertainty.own_expanded_percent(other) for other in others]
    known = [percent for percent in theirs if percent is not None]
    if own is None or len(known) < len(theirs):
        return None
    return math.hypot(own, *(percent / len(known) for percent in known))


def _sound(context: Context, setting: Setting, residual_percent: float) -> bool:
    limit = context.limit("gain", setting)
    expanded = context.uncertainty.gain_expanded_percent(setting) if context.uncertainty else None
    return limit is None or not fails(residual_percent, limit, expanded=expanded)


CHANNEL_MATCH = ClaimKind(
    item="channel-match",
    unit="percent",
    scope=Scope.SETTING,
    needs=frozenset({Need.READINGS, Need.CHANNELS}),
    judge=_judge,
)
