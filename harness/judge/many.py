"""Many numbers against their limits: those that plainly pass are decided together, each other one by itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from harness.config import LimitItem
from harness.judge.decision import DECISION_RULES, GOOD_TUR_RATIO, conformance_probability
from harness.judge.limits import BY_UNCERTAINTY, judge_number, request_of
from harness.judge.uncertainty.checked import Floats
from harness.values import Judgement, Outcome, Setting


class Asked(NamedTuple):
    """One number and the row that it is held against, as judge_number takes them."""

    limit: LimitItem
    value: float
    setting: Setting
    where: str
    expanded: float | None
    other: Setting | None = None
    said: str = "off by {value:+.3g}"


class _Plain(NamedTuple):
    """What a number that plainly passes has in its judgement."""

    guard: float
    margin: float
    tur_ratio: float | None
    conformance_ratio: float | None


def judge_numbers(asked: Iterable[Asked]) -> tuple[Judgement, ...]:
    """The judgements of many numbers.

    Args:
        asked: numbers with their limits, in any order; most of those of a run meet one of a few rows.
    Returns:
        what judge_number says of each, in the same order.
    Raises:
        NotFinite: a number is NaN or infinite, or a U is negative.
    Source:
        judge_number; tests/judge/test_many.py holds both against each other.
    """
    every = tuple(asked)
    by_row: dict[int, list[int]] = {}
    for place, one in enumerate(every):
        by_row.setdefault(id(one.limit), []).append(place)
    found: dict[int, _Plain] = {}
    for places in by_row.values():
        found |= _plain([every[place] for place in places], places)
    return tuple(
        _passed(one, found[place])
        if place in found
        else judge_number(
            one.limit,
            one.value,
            setting=one.setting,
            other=one.other,
            where=one.where,
            expanded=one.expanded,
            said=one.said,
        )
        for place, one in enumerate(every)
    )


def _plain(asked: Sequence[Asked], places: Sequence[int]) -> dict[int, _Plain]:
    """Those of one row that pass with power to spare: there is nothing to say about them."""
    limit = asked[0].limit
    if limit.low is None and limit.high is None:
        return {}
    value = np.array([one.value for one in asked], dtype=np.float64)
    # A number without an uncertainty, or of a senseless one, goes the long way and is told there.
    expanded = np.array([np.nan if one.expanded is None else one.expanded for one in asked], dtype=np.float64)
    usable = np.isfinite(expanded) & (expanded >= 0.0)
    sure = usable & (expanded > 0.0)
    low = -np.inf if limit.low is None else limit.low
    high = np.inf if limit.high is None else limit.high
    guard = _guards(limit, np.where(usable, expanded, 0.0))
    tur = (high - low) / 2.0 / np.where(sure, expanded, 1.0)
    powerful = ~sure | (tur >= GOOD_TUR_RATIO)
    passes = usable & powerful & np.isfinite(value) & (low + guard <= value) & (value <= high - guard)
    if not passes.any():
        return {}
    standard = np.where(sure, expanded, 1.0) / 2.0
    likely = conformance_probability(np.where(passes, value, 0.0), standard=standard, low=limit.low, high=limit.high)
    one_sided = limit.low is None or limit.high is None
    margin = np.minimum(value - low, high - value)
    columns = (guard.tolist(), margin.tolist(), tur.tolist(), likely.tolist(), sure.tolist(), passes.tolist())
    return {
        place: _Plain(
            guard=w, margin=m, tur_ratio=t if known and not one_sided else None, conformance_ratio=p if known else None
        )
        for place, w, m, t, p, known, plain in zip(places, *columns, strict=True)
        if plain
    }


def _guards(limit: LimitItem, expanded: Floats) -> Floats:
    name = limit.rule or "guarded"
    rule = DECISION_RULES[name]
    if name in BY_UNCERTAINTY:
        return np.array([rule(request_of(limit, one)) for one in expanded.tolist()], dtype=np.float64)
    return np.full(expanded.size, rule(request_of(limit, None)))


def _passed(asked: Asked, plain: _Plain) -> Judgement:
    limit = asked.limit
    return Judgement(
        item=limit.item,
        setting=asked.setting,
        other=asked.other,
        outcome=Outcome.PASS,
        measured=asked.value,
        low=limit.low,
        high=limit.high,
        guard=plain.guard,
        unit=limit.unit,
        margin=plain.margin,
        reason="",
        rule=limit.rule or "guarded",
        expanded=asked.expanded,
        tur_ratio=plain.tur_ratio,
        conformance_ratio=plain.conformance_ratio,
    )
