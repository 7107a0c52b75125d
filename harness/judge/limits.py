"""A number against a limit with a guard band."""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.config import LimitItem
from harness.values import Judgement, Outcome, Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """What a number came out as."""

    outcome: Outcome
    margin: float | None
    """Distance to the nearest limit, positive inside; None without limits."""


def decide(value: float, limit: LimitItem) -> Decided:
    """Whether a number meets a limit with a guard band.

    Args:
        value: the number, in the limit's unit.
        limit: low and high limit and guard band w, same unit.
    Returns:
        PASS inside by w or more, FAIL outside by more than w, else INCONCLUSIVE; with the margin.
    Source:
        JCGM 106:2012, guarded acceptance and guarded rejection, used together.
    """
    low = -math.inf if limit.low is None else limit.low
    high = math.inf if limit.high is None else limit.high
    margin = min(value - low, high - value)
    # Compared with the edges as they stand in the file, not with the margin: 2 - 1.56 is not 0.44 in binary.
    if low + limit.guard <= value <= high - limit.guard:
        outcome = Outcome.PASS
    elif low - limit.guard <= value <= high + limit.guard:
        outcome = Outcome.INCONCLUSIVE
    else:
        outcome = Outcome.FAIL
    return Decided(outcome=outcome, margin=margin if math.isfinite(margin) else None)


def judge_number(
    limit: LimitItem, value: float, *, setting: Setting, other: Setting | None = None, where: str
) -> Judgement:
    """The judgement of one number, in words where it is not a plain PASS.

    Args:
        limit: the requirement.
        value: the number, in the limit's unit.
        setting: the setting, for a step the upper one.
        other: for a step the lower setting.
        where: the place, for people.
    Returns:
        the judgement.
    Source:
        decide.
    """
    decided = decide(value, limit)
    reason = ""
    if decided.outcome is not Outcome.PASS:
        allowed = " to ".join(f"{edge:+g}" for edge in (limit.low, limit.high) if edge is not None)
        ratio = f" (×{math.exp(value / 100.0):.4g})" if limit.unit == "percent" and abs(value) > 10.0 else ""
        reason = f"{where}: {limit.item} off by {value:+.3g} {limit.unit}{ratio}, allowed {allowed} {limit.unit}"
        if decided.outcome is Outcome.INCONCLUSIVE:
            reason += f", inside the guard band of {limit.guard:g} {limit.unit}"
    return Judgement(
        item=limit.item,
        setting=setting,
        other=other,
        outcome=decided.outcome,
        measured=value,
        low=limit.low,
        high=limit.high,
        guard=limit.guard,
        unit=limit.unit,
        margin=decided.margin,
        reason=reason,
    )


def judge_claim(
    item: str, outcome: Outcome, reason: str, *, setting: Setting | None, other: Setting | None = None
) -> Judgement:
    """The judgement of a claim that has no number.

    Args:
        item: name of the claim.
        outcome: what was decided.
        reason: in words; empty for a plain PASS.
        setting: the setting, for a step the upper one, None for the run.
        other: for a step the lower setting.
    Returns:
        the judgement.
    Source:
        none: a record.
    """
    return Judgement(
        item=item,
        setting=setting,
        other=other,
        outcome=outcome,
        measured=None,
        low=None,
        high=None,
        guard=0.0,
        unit="",
        margin=None,
        reason=reason,
    )
