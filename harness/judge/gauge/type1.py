"""Type-1 gauge study: one unit, again and again, against the tolerance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.errors import MeasureError, NotFinite

SHARE_RATIO = 0.2
"""Of the tolerance that six standard deviations may take up."""
SIGMAS = 6.0
GATE = 1.33
FEWEST = 25
"""Fewer say too little to pass a station by."""
COVERAGE_RATIO = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class TypeOne:
    """The study of one number."""

    count: int
    mean: float
    deviation: float
    """Standard deviation, unit of the number."""
    bias: float
    """Mean less reference, unit of the number."""
    cg: float
    cg_low: float
    """Ends of the 95 % interval of Cg."""
    cg_high: float
    cgk: float

    @property
    def outcome(self) -> str:
        """capable, not capable, or too few readings to say."""
        if min(self.cg, self.cgk) < GATE:
            return "not capable"
        return "capable" if self.count >= FEWEST else f"too few: {FEWEST} or more readings"


def type_one(readings: Sequence[float], *, reference: float, width: float) -> TypeOne:
    """Cg and Cgk of one unit measured repeatedly.

    Args:
        readings: two or more, unit of the number.
        reference: its true value, same unit.
        width: high limit less low limit, same unit, > 0.
    Returns:
        the study: Cg = 0.2·T/(6 s), Cgk = (0.1·T - |mean - reference|)/(3 s); infinite for readings that are all equal.
    Raises:
        MeasureError: fewer than two readings, or a tolerance without width.
        NotFinite: a number is NaN or infinite.
    Source:
        practice: 0.2 of the tolerance against six standard deviations; interval of s by chi-square, as of Cp in
        Montgomery, Introduction to Statistical Quality Control.
    """
    values = np.asarray(readings, dtype=np.float64)
    if values.size < 2:
        raise MeasureError(f"type-1 study: {values.size} readings; allowed: 2 or more, better {FEWEST}: measure again")
    if not (np.isfinite(values).all() and math.isfinite(reference) and math.isfinite(width)):
        raise NotFinite("type-1 study: a reading, the reference or the tolerance is NaN or infinite")
    if width <= 0.0:
        raise MeasureError(f"type-1 study: tolerance {width:g} wide; allowed: above 0: state both limits")
    mean, deviation = float(values.mean()), float(values.std(ddof=1))
    bias, share = mean - reference, SHARE_RATIO * width
    if deviation == 0.0:
        sign = math.copysign(math.inf, share / 2.0 - abs(bias))
        return TypeOne(
            count=values.size, mean=mean, deviation=0.0, bias=bias, cg=math.inf, cg_low=math.inf, cg_high=math.inf,
            cgk=sign,
        )  # fmt: skip
    from scipy.stats import chi2

    cg, free = share / (SIGMAS * deviation), values.size - 1
    tail = (1.0 - COVERAGE_RATIO) / 2.0
    low, high = (float(cg * math.sqrt(chi2.ppf(p, free) / free)) for p in (tail, 1.0 - tail))
    return TypeOne(
        count=values.size, mean=mean, deviation=deviation, bias=bias, cg=cg, cg_low=low, cg_high=high,
        cgk=(share / 2.0 - abs(bias)) / (SIGMAS / 2.0 * deviation),
    )  # fmt: skip
