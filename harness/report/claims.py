"""What was claimed of the unit, kind by kind, and the worst of each range."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.report import words
from harness.report.labels import range_name
from harness.values import Judgement, Outcome, RunResult

SEVERAL = "by place"
"""Stands for limits or guard bands that differ inside one kind of claim."""

LEAST_PERCENT = 0.001
"""A smaller risk rests on the tails of a distribution that nobody has measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimLine:
    """One kind of claim over the whole run."""

    item: str
    limits: str
    guard: str
    rule: str
    """Decision rule; empty without numbers."""
    expanded: str
    """Largest expanded uncertainty; empty where none is stated."""
    tur: str
    """Least test uncertainty ratio; empty where no uncertainty is stated."""
    sure: str
    """How likely the least sure of those that pass meets its limits; empty where no uncertainty is stated."""
    consumer: str
    """The largest specific consumer's risk of those that pass; empty where none does, or without uncertainty."""
    producer: str
    """The largest specific producer's risk of those that fail; likewise."""
    worst: Outcome
    counts: str
    """How many of each outcome, the gravest first."""


def limits_by_item(result: RunResult) -> dict[str, str]:
    """The limits of each kind of claim, in words.

    Args:
        result: of a run.
    Returns:
        limits by item, from its judgements; a kind without numbers is not in it.
    """
    return {claim.item: text for claim in result.judgements if (text := _limits(claim))}


def claims(result: RunResult) -> tuple[ClaimLine, ...]:
    """What was claimed of the unit, and how each kind of claim came out.

    Args:
        result: of a run.
    Returns:
        one line a kind of claim, in the order in which they first occur.
    """
    groups: dict[str, list[Judgement]] = {}
    for claim in result.judgements:
        groups.setdefault(claim.item, []).append(claim)
    return tuple(_claim(item, group) for item, group in groups.items())


def _claim(item: str, group: Sequence[Judgement]) -> ClaimLine:
    outcomes = [claim.outcome for claim in group]
    numbered = [claim for claim in group if _limits(claim)]
    tur = [claim.tur_ratio for claim in group if claim.tur_ratio is not None]
    doubt = [claim.expanded for claim in group if claim.expanded is not None]
    sure = [c.conformance_ratio for c in group if c.conformance_ratio is not None and c.outcome is Outcome.PASS]
    consumer = [c.consumer_risk_ratio for c in group if c.consumer_risk_ratio is not None]
    producer = [c.producer_risk_ratio for c in group if c.producer_risk_ratio is not None]
    return ClaimLine(
        item=item,
        rule=_one([claim.rule for claim in numbered]),
        expanded=words.doubt(max(doubt), group[0].unit) if doubt else "",
        tur=words.ratio(min(tur)) if tur else "",
        sure=words.chance(min(sure)) if sure else "",
        consumer=_risk(consumer),
        producer=_risk(producer),
        limits=_one([_limits(claim) for claim in numbered]),
        guard=_one([f"{claim.guard:g} {words.sign(claim.unit)}" for claim in numbered]),
        worst=words.worst_of(outcomes) or Outcome.INVALID,
        counts=", ".join(f"{n} {outcome}" for outcome in words.SEVERITY if (n := outcomes.count(outcome))),
    )


def _risk(ratios: Sequence[float]) -> str:
    """The largest risk, in percent; one too small to print is a bound."""
    if not ratios:
        return ""
    most_percent = 100.0 * max(ratios)
    return f"{most_percent:.2g} %" if most_percent >= LEAST_PERCENT else f"< {LEAST_PERCENT:g} %"


def _one(texts: Sequence[str]) -> str:
    """What all of them say; limits may differ from place to place, such as those of fitted parameters."""
    return SEVERAL if len(set(texts)) > 1 else texts[0] if texts else ""


def _limits(claim: Judgement) -> str:
    return words.limits(claim.low, claim.high, unit=claim.unit)


def worst_table(result: RunResult) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The worst residual of each range on each channel.

    Args:
        result: of a run.
    Returns:
        one line a range that was measured: its name and a residual for each of `worst_channels`.
    """
    known = {(channel, coarse): residual_percent for channel, coarse, residual_percent in result.worst}
    channels = worst_channels(result)
    return tuple(
        (range_name(coarse, result), tuple(words.percent(known.get((channel, coarse))) for channel in channels))
        for coarse in sorted({coarse for _, coarse in known})
    )


def worst_channels(result: RunResult) -> tuple[int, ...]:
    """The channels that `worst_table` has columns for.

    Args:
        result: of a run.
    Returns:
        channel numbers, ascending.
    """
    return tuple(sorted({channel for channel, _, _ in result.worst}))
