"""Station against station: the same units on both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.errors import MeasureError, NotFinite

MOST_RATIO = 0.1
"""Of the tolerance, for the mean of the differences and for their standard deviation."""
FEWEST = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class StationsApart:
    """Differences of one number, second station less first, unit of the number."""

    units: int
    mean: float
    deviation: float
    most: float
    """Allowed of either."""

    @property
    def outcome(self) -> str:
        """alike, apart, or too few units to say."""
        if abs(self.mean) >= self.most or self.deviation >= self.most:
            return "apart"
        return "alike" if self.units >= FEWEST else f"too few: {FEWEST} or more units"


def stations_apart(first: Sequence[float], second: Sequence[float], *, width: float) -> StationsApart:
    """How far two stations are apart.

    Args:
        first, second: the number of each unit on either station, same order, unit of the number.
        width: high limit less low limit, same unit, > 0.
    Returns:
        mean and standard deviation of the differences.
    Raises:
        MeasureError: fewer than two units, unequal numbers of them, or a tolerance without width.
        NotFinite: a number is NaN or infinite.
    Source:
        practice: mean difference below 0.1 T, standard deviation of the differences below 0.1 T.
    """
    if len(first) != len(second) or len(first) < 2:
        raise MeasureError(
            f"stations: {len(first)} units on one, {len(second)} on the other; allowed: the same ones, 2 or more"
        )
    if not width > 0.0:
        raise MeasureError(f"stations: tolerance {width:g} wide; allowed: above 0: state both limits")
    apart = np.asarray(second, dtype=np.float64) - np.asarray(first, dtype=np.float64)
    if not np.isfinite(apart).all():
        raise NotFinite("stations: a reading is NaN or infinite; allowed: numbers: leave that run out")
    return StationsApart(
        units=len(first), mean=float(apart.mean()), deviation=float(apart.std(ddof=1)), most=MOST_RATIO * width
    )
