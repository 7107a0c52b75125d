"""The budget of one gain: contributions put together, common and per-reading parts kept apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.judge.uncertainty.combine import combined, coverage_factor, effective_dof
from harness.judge.uncertainty.contribution import Contribution
from harness.judge.uncertainty.shape import Shape, shape_factor, trapezoid_of

DOMINANT_RATIO = 0.3
"""The rest beside a dominant part is at most this much of it (EA-4/02 S9.12, S10.11, from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetRow:
    """A line of the printed budget."""

    name: str
    kind: str
    """common or per reading."""
    stated: str
    """Such as `rectangular ±0.1 %`."""
    standard_percent: float
    """Of gain."""
    dof: float
    """Infinity where the standard uncertainty is taken as exact."""
    share_percent: float
    """Of the combined variance; all rows together 100."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """All contributions to one gain; percent of gain throughout, independent of each other."""

    contributions: tuple[Contribution, ...]

    @property
    def common_percent(self) -> float:
        """Standard uncertainty of what is the same for all readings."""
        return self._of([c for c in self.contributions if c.common])

    @property
    def independent_percent(self) -> float:
        """Standard uncertainty of what each reading has for itself: that of a residual to a fitted law."""
        return self._of([c for c in self.contributions if not c.common])

    @property
    def standard_percent(self) -> float:
        """Combined standard uncertainty of the absolute gain."""
        return self._of(self.contributions)

    @property
    def dof(self) -> float:
        """Effective degrees of freedom of the combined standard uncertainty."""
        standard = [c.standard_percent for c in self.contributions]
        return float(effective_dof(standard, [c.dof for c in self.contributions]))

    def factor(self, *, probability_ratio: float | None = None, whole_dof: bool = False) -> float:
        """Coverage factor: 2, or Student's for a probability."""
        return float(coverage_factor(self.dof, probability_ratio=probability_ratio, whole_dof=whole_dof))

    def expanded_percent(self, *, probability_ratio: float | None = None, whole_dof: bool = False) -> float:
        """Expanded uncertainty U of the absolute gain."""
        return self.factor(probability_ratio=probability_ratio, whole_dof=whole_dof) * self.standard_percent

    def rows(self) -> tuple[BudgetRow, ...]:
        """The lines of the printed budget, in the order of the contributions."""
        variance = self.standard_percent**2
        return tuple(
            BudgetRow(
                name=c.name,
                kind="common" if c.common else "per reading",
                stated=c.stated,
                standard_percent=c.standard_percent,
                dof=c.dof,
                share_percent=100.0 * c.standard_percent**2 / variance if variance > 0.0 else 0.0,
            )
            for c in self.contributions
        )

    @staticmethod
    def _of(contributions: Sequence[Contribution]) -> float:
        return float(combined([c.standard_percent for c in contributions]))


def dominant_factor(contributions: Sequence[Contribution], *, probability_ratio: float) -> float | None:
    """Which coverage factor a budget needs that one or two rectangles dominate.

    Args:
        contributions: the budget.
        probability_ratio: of the symmetric interval, 0 to 1, both excluded.
    Returns:
        that of the rectangle, or of the trapezoid of the two largest rectangles; None where neither dominates, so that
        the normal or Student factor is right.
    Raises:
        NotFinite: the probability is outside its bounds.
    Source:
        EA-4/02 supplement, S9 and S10.
    """
    ordered = sorted(contributions, key=lambda c: c.standard_percent, reverse=True)
    flat = [c.shape is Shape.RECTANGULAR and c.standard_percent > 0.0 for c in ordered[:2]]
    rest = [float(combined([c.standard_percent for c in ordered[count:]])) for count in (1, 2)]
    if flat[:1] == [True] and rest[0] <= DOMINANT_RATIO * ordered[0].standard_percent:
        return shape_factor(Shape.RECTANGULAR, probability_ratio=probability_ratio)
    if flat == [True, True]:
        pair = math.hypot(ordered[0].standard_percent, ordered[1].standard_percent)
        if rest[1] <= DOMINANT_RATIO * pair:
            _, beta_ratio = trapezoid_of(ordered[0].value_percent, ordered[1].value_percent)
            return shape_factor(Shape.TRAPEZOID, probability_ratio=probability_ratio, beta_ratio=beta_ratio)
    return None
