"""The step of a converter behind scaled values: the least spacing that all values of a record have in common."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

LEAST_DISTINCT = 8
"""Fewer different values lie on a common spacing by chance."""
MOST_PARTS = 8
"""The least distance of two values is the spacing times a whole number up to this."""
MOST_AWAY_RATIO = 0.1
"""How far a value may lie from its place, in spacings: what rounding of scaled values may do."""
MOST_CODES = 2**17
"""A record that spans more spacings has none: its values lie anywhere."""
ROUNDING = 2.0**-21
"""Values nearer than this, relative to the largest, are one: the rounding of single precision."""
LIMIT = "it may be several codes where no scale is displayed that goes into it, and 0 is taken for code 0"
"""What no record of scaled values can tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeSpacing:
    """What a record of scaled values says of the codes behind it."""

    step: float | None
    """Value for each code; None where the values have no spacing in common."""
    offset: float
    """Value of a code 0, at most half a step from 0."""
    few: bool = False
    """Whether there are too few different values to tell: a record that hardly moves."""
    proof: str
    """How many values lie on it and how well; or why none can be told."""

    def codes(self, values: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
        """The code of each value; empty without a spacing."""
        if self.step is None:
            return np.zeros(0, dtype=np.int64)
        return np.asarray(np.rint((values - self.offset) / self.step), dtype=np.int64)


def common_spacing(values: npt.NDArray[np.float64]) -> CodeSpacing:
    """The least spacing that all values have in common.

    Args:
        values: shape (n,), of one record, finite.
    Returns:
        spacing, offset and proof; no spacing where fewer than LEAST_DISTINCT values differ, or where they lie anywhere:
        a record that was interpolated, averaged or filtered.
    """
    ordered = np.unique(values)
    least = ROUNDING * float(np.abs(ordered).max()) if ordered.size else 0.0
    distinct = ordered[np.concatenate(([True], np.diff(ordered) > least))] if ordered.size else ordered
    if distinct.size < LEAST_DISTINCT:
        proof = f"only {distinct.size} different values, {LEAST_DISTINCT} are needed to tell a spacing from chance"
        return CodeSpacing(step=None, offset=0.0, few=True, proof=proof)
    gaps = np.diff(distinct)
    for parts in range(1, MOST_PARTS + 1):
        found = _on_grid(distinct, gaps, float(gaps.min()) / parts)
        if found is not None:
            return found
    proof = f"{distinct.size} different values lie on no common spacing: they were interpolated, averaged or filtered"
    return CodeSpacing(step=None, offset=0.0, proof=proof)


def _on_grid(distinct: npt.NDArray[np.float64], gaps: npt.NDArray[np.float64], step: float) -> CodeSpacing | None:
    """The spacing near one, if all values have places on it; neighbours first, so that its error does not add up."""
    if (distinct[-1] - distinct[0]) / step > MOST_CODES:
        return None
    numbers = np.rint(gaps / step)
    if np.abs(gaps / step - numbers).max() > 2.0 * MOST_AWAY_RATIO or numbers.min() < 1.0:
        return None
    places = np.concatenate(([0.0], np.cumsum(numbers)))
    centred = places - places.mean()
    fitted = float(centred @ distinct / (centred @ centred))
    offset = float(distinct.mean() - fitted * places.mean())
    away = float(np.abs(distinct - offset - fitted * places).max()) / fitted
    if not away < MOST_AWAY_RATIO:
        return None
    offset -= fitted * round(offset / fitted)
    proof = f"all {distinct.size} different values lie within {100.0 * away:.2g} % of a spacing from their places"
    return CodeSpacing(step=fitted, offset=offset, proof=proof)
