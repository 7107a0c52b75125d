"""From the ranking to the explanation that goes on: the simplest one that the gains do not contradict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from harness.learn.explain.code_field import CodeField
from harness.learn.explain.competition import Ranked, order_of
from harness.learn.explain.hypothesis import Fitted, Hypothesis
from harness.learn.explain.shapes import Shape

POOR_RATIO = 0.01
"""A law that misses gains it has not seen by less is taken: good parts deviate by less from theirs."""
TABLE_BETTER = 0.3
"""A table must do so much better than the law that missed by more."""
SAME_STORY = 1.5
"""A simpler explanation may be so many times worse on gains left out."""
GOOD_RATIO = 6e-4
"""Errors on gains left out below this are what a source leaves: they tell no two explanations apart."""
SAME_WEIGHT_RATIO = 0.01
"""A bit's ratio this near to what the number beside it would give it belongs to that number."""


def choose(ranked: Sequence[Ranked]) -> Ranked | None:
    """The explanation that goes on.

    Args:
        ranked: best first by the criterion.
    Returns:
        one of them; None where there is none. A table only where every law misses: it can follow anything, and says
        nothing of codes that were not seen. Of those that do about as well, the one with fewest parameters.
    Source:
        common practice, no source: the simplest explanation that is not contradicted.
    """
    laws = [one for one in ranked if one.shape is not Shape.TABLE and one.fitted.determined]
    tables = [one for one in ranked if one.shape is Shape.TABLE and math.isfinite(one.left_out_ratio)]
    best = _simpler(laws)
    table = _simpler(tables)
    if best is None or table is None:
        return best or table
    misses = best.left_out_ratio > POOR_RATIO and table.left_out_ratio < TABLE_BETTER * best.left_out_ratio
    return table if misses else best


def _simpler(ranked: Sequence[Ranked]) -> Ranked | None:
    """The one with fewest parameters of those that do about as well as the best on gains left out."""
    usable = [one for one in ranked if math.isfinite(one.left_out_ratio)]
    if not usable:
        return None
    least = min(one.left_out_ratio for one in usable)
    alike = [one for one in usable if one.left_out_ratio <= max(SAME_STORY * least, GOOD_RATIO)]
    return min(alike, key=lambda one: (one.parameters, *order_of(one.fitted)))


def absorbed(fitted: Fitted) -> Hypothesis:
    """The same explanation with bits beside the field taken into it, where their ratio is what it would be there.

    A number in dB can be cut anywhere: each of its bits has a ratio of its own, and deviations of the device make the
    cut fit a little better.

    Args:
        fitted: an explanation.
    Returns:
        the hypothesis with the widest field that says the same.
    Source:
        linear in dB: bit k counts slope · 2**k.
    """
    hypothesis = fitted.hypothesis
    if hypothesis.shape is not Shape.LINEAR_IN_DB or fitted.shape_weights.size != 1:
        return hypothesis
    slope = float(fitted.shape_weights[0])
    ratios = dict(zip(hypothesis.free, map(float, fitted.bit_logs), strict=True))
    field = hypothesis.field
    while (wider := _wider(field, ratios, slope)) is not None:
        if wider.start < field.start or (wider.bits > field.bits and field.least_first):
            grown_low = field.least_first and wider.start < field.start
        else:
            grown_low = not field.least_first
        slope = slope / 2.0 if grown_low else slope
        field = wider
    free = tuple(place for place in hypothesis.free if place not in field.places)
    return replace(hypothesis, field=field, free=free)


def _wider(field: CodeField, ratios: dict[int, float], slope: float) -> CodeField | None:
    """The field with one more bit at an end, where that bit's ratio is the one of its place."""
    before, after = field.start - 1, field.start + field.bits
    top, low = slope * 2.0**field.bits, slope / 2.0
    first, last = (low, top) if field.least_first else (top, low)
    if before in ratios and abs(ratios[before] - first) <= _allowed(first):
        return replace(field, start=before, bits=field.bits + 1)
    if after in ratios and abs(ratios[after] - last) <= _allowed(last):
        return replace(field, bits=field.bits + 1)
    return None


def _allowed(log: float) -> float:
    return SAME_WEIGHT_RATIO * max(abs(log), 1.0)
