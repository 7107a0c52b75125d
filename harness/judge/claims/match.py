"""Claim: a channel has the gain of the others at the same setting; what is common to all of them cancels."""

from __future__ import annotations

import math

from harness.judge.claims.context import Context
from harness.judge.claims.kind import ClaimKind, Need, Scope
from harness.judge.limits import fails
from harness.judge.many import Asked, judge_numbers
from harness.values import Judgement, Setting


def _judge(context: Context) -> tuple[Judgement, ...]:
    """The others' mean leaves out those that fail the absolute limit: one bad channel must not fail the good ones."""
    by_place: dict[tuple[int, int], dict[Setting, float]] = {}
    for setting, item in context.gathered.items():
        residual_percent = item.residual_percent()
        if residual_percent is not None:
            by_place.setdefault((setting.coarse, setting.fine), {})[setting] = residual_percent
    sound = {
        setting for alike in by_place.values() for setting, off in alike.items() if _sound(context, setting, off)
    }
    groups: list[tuple[Setting, ...]] = []
    for setting in context.gathered:
        alike = by_place.get((setting.coarse, setting.fine), {})
        others = tuple(other for other in alike if other != setting and other in sound)
        if context.limit("channel-match", setting) is not None and setting in alike and others:
            groups.append((setting, *others))
    known = context.uncertainty
    doubts = known.match_expanded_percent(groups) if known else (None,) * len(groups)
    asked = []
    for group, expanded in zip(groups, doubts, strict=True):
        setting, others = group[0], group[1:]
        limit, alike = context.limit("channel-match", setting), by_place[setting.coarse, setting.fine]
        if limit is None:
            continue
        # All channels have one prediction, so that the difference of residuals is that of the gains.
        difference_percent = alike[setting] - math.fsum(alike[other] for other in others) / len(others)
        where = context.gathered[setting].prediction.label
        asked.append(Asked(limit, difference_percent, setting, where, expanded))
    return judge_numbers(asked)


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
