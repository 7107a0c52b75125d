"""A number against its limit, by the rule of the limit's row."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from harness.config import LimitItem
from harness.judge.decision import Request, conformance_probability, decide_by
from harness.values import Judgement, Outcome, Setting

BY_UNCERTAINTY = ("guard-band", "managed")
"""Rules whose guard band follows from the uncertainty."""
SIZE = "{value:.3g}"
"""How a number reads that is a size of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """What a number came out as, in the unit of its limit."""

    outcome: Outcome
    margin: float | None
    """Distance to the nearest limit, positive inside; None without limits."""
    guard: float = 0.0
    """Guard band w that the rule came to."""
    expanded: float | None = None
    """U that the decision rests on; None where none is stated."""
    tur_ratio: float | None = None
    """Half the width between the limits over U; None without U or with one limit."""
    conformance_ratio: float | None = None
    """How likely the true value lies within the limits; None without U."""
    warning: str = ""
    """Empty, or what is wrong with the measurement's power."""
    why: str = ""
    """Why no number could decide, whatever it is; else empty."""


def decide(value: float, limit: LimitItem, *, expanded: float | None = None) -> Decided:
    """Whether a number meets its limit.

    Args:
        value: the number, in the limit's unit.
        limit: low and high limit, rule and what the rule needs, same unit.
        expanded: expanded uncertainty U of the number, k = 2, same unit; None where none is stated.
    Returns:
        PASS inside the limits by the rule's guard band w or more, FAIL outside by more than w, else INCONCLUSIVE. With
        TUR below 1 nothing passes; a rule that needs U and has none decides nothing.
    Raises:
        NotFinite: the number is NaN or infinite, or U is negative.
    Source:
        JCGM 106:2012, 8.2 and 8.3; judge/decision.
    """
    rule = limit.rule or "guarded"
    if limit.low is None and limit.high is None:
        return Decided(outcome=Outcome.PASS, margin=None, expanded=expanded)
    decision = decide_by(rule, value, request_of(limit, expanded))
    if expanded is None:
        missing = f"rule {rule} needs an uncertainty and none is stated" if rule in BY_UNCERTAINTY else ""
        outcome = Outcome.INCONCLUSIVE if missing else decision.outcome
        return Decided(outcome=outcome, margin=decision.margin, guard=decision.guard, why=missing)
    sure = expanded > 0.0
    conformance = conformance_probability(value, standard=expanded / 2.0, low=limit.low, high=limit.high) if sure else 0
    powerless = decision.acceptance is None and decision.outcome is Outcome.INCONCLUSIVE
    return Decided(
        outcome=decision.outcome,
        margin=decision.margin,
        guard=decision.guard,
        expanded=expanded,
        tur_ratio=decision.tur_ratio if sure else None,
        conformance_ratio=float(conformance) if sure else None,
        warning=decision.warning,
        why=decision.warning if powerless else "",
    )


def fails(value: float, limit: LimitItem, *, expanded: float | None = None) -> bool:
    """Whether a number is no part of what others are held to, such as a mean or a fitted law.

    Args:
        value: the number, in the limit's unit.
        limit: of the number.
        expanded: expanded uncertainty U, k = 2, same unit; None where none is stated.
    Returns:
        True where it fails; where the rule needs an uncertainty and none is stated, where it lies beyond a limit.
    Raises:
        NotFinite: the number is NaN or infinite, or U of one beyond its limit is negative.
    Source:
        decide.
    """
    if limit.low is None and limit.high is None:
        return False
    if (limit.low is None or limit.low <= value) and (limit.high is None or value <= limit.high):
        # Within the limits nothing fails, whatever the rule; the long way meets what is no number.
        return False
    rule = limit.rule or "guarded"
    decision = decide_by(rule, value, request_of(limit, expanded))
    if expanded is None and rule in BY_UNCERTAINTY:
        return decision.margin < 0.0
    return decision.outcome is Outcome.FAIL


def request_of(limit: LimitItem, expanded: float | None) -> Request:
    """What a rule is asked about a number under a limit.

    Args:
        limit: with a low or a high limit.
        expanded: expanded uncertainty U of the number, k = 2, same unit; None where none is stated.
    Returns:
        the request; U is 0 where none is stated.
    Raises:
        NotFinite: U is negative or not finite.
    Source:
        none: a record.
    """
    return Request(
        expanded=expanded or 0.0, low=limit.low, high=limit.high, guard=limit.guard, share_ratio=limit.share
    )


def judge_number(
    limit: LimitItem,
    value: float,
    *,
    setting: Setting,
    other: Setting | None = None,
    where: str,
    expanded: float | None = None,
    said: str = "off by {value:+.3g}",
) -> Judgement:
    """The judgement of one number, in words where it is not a plain PASS.

    Args:
        limit: the requirement.
        value: the number, in the limit's unit.
        setting: the setting, for a step the upper one.
        other: for a step the lower setting.
        where: the place, for people.
        expanded: expanded uncertainty U of the number, k = 2, same unit; None where none is stated.
        said: how the number reads in the reason.
    Returns:
        the judgement.
    Raises:
        NotFinite: the number is NaN or infinite, or U is negative.
    Source:
        decide.
    """
    decided = decide(value, limit, expanded=expanded)
    return Judgement(
        item=limit.item,
        setting=setting,
        other=other,
        outcome=decided.outcome,
        measured=value,
        low=limit.low,
        high=limit.high,
        guard=decided.guard,
        unit=limit.unit,
        margin=decided.margin,
        reason=""
        if decided.outcome is Outcome.PASS
        else _reason(limit, said.format(value=value) + f" {limit.unit}" + _factor(limit, value), decided, where),
        rule=limit.rule or "guarded",
        expanded=decided.expanded,
        tur_ratio=decided.tur_ratio,
        conformance_ratio=decided.conformance_ratio,
        warning=decided.warning,
    )


def judge_value(
    limit: LimitItem, value: float, *, setting: Setting, where: str, expanded: float | None = None
) -> Judgement:
    """The judgement of a number that is a size of its own, such as a noise, and no distance from what was predicted.

    Args:
        limit: the requirement.
        value: the number, in the limit's unit.
        setting: the setting.
        where: the place, for people.
        expanded: expanded uncertainty U of the number, k = 2, same unit; None where none is stated.
    Returns:
        the judgement.
    Raises:
        NotFinite: the number is NaN or infinite, or U is negative.
    Source:
        judge_number.
    """
    return judge_number(limit, value, setting=setting, where=where, expanded=expanded, said=SIZE)


def not_measured(limit: LimitItem, why: str, *, setting: Setting) -> Judgement:
    """The judgement of a number that was planned and is missing.

    Args:
        limit: the requirement.
        why: place and reason, for people.
        setting: the setting.
    Returns:
        INVALID, with the requirement.
    Source:
        design rule: INVALID is neither a pass nor a product failure.
    """
    reason = f"{limit.item} not measured: {why}"
    made = judge_claim(limit.item, Outcome.INVALID, reason, setting=setting)
    return replace(made, unit=limit.unit, low=limit.low, high=limit.high, rule=limit.rule or "guarded")


def _factor(limit: LimitItem, value: float) -> str:
    return f" (×{math.exp(value / 100.0):.4g})" if limit.unit == "percent" and abs(value) > 10.0 else ""


def _reason(limit: LimitItem, number: str, decided: Decided, where: str) -> str:
    allowed = " to ".join(f"{edge:+g}" for edge in (limit.low, limit.high) if edge is not None)
    said = f"{where}: {limit.item} {number}, allowed {allowed} {limit.unit}"
    if decided.outcome is not Outcome.INCONCLUSIVE:
        return said
    return (
        f"{said}; {decided.why}" if decided.why else f"{said}, inside the guard band of {decided.guard:g} {limit.unit}"
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
