"""A control chart that remembers: exponentially weighted moving average."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.errors import MeasureError, NotFinite

WEIGHT = 0.2
"""Of the newest value; with limits at 2.86 a false alarm in 366 values."""
LIMIT_SIGMAS = 2.86
FALSE_ALARM = 2.0 * (1.0 - 0.5 * (1.0 + math.erf(LIMIT_SIGMAS / math.sqrt(2.0))))
"""Chance that one average of a chart whose limits are known lies beyond them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EwmaPoint:
    """One value on the chart, in its unit."""

    value: float
    average: float
    """Weighted: this value and all before."""
    low: float
    high: float

    @property
    def inside(self) -> bool:
        """Whether the average keeps the limits."""
        return self.low <= self.average <= self.high


def ewma(
    values: Sequence[float],
    *,
    target: float,
    deviation: float,
    weight: float = WEIGHT,
    limit_sigmas: float = LIMIT_SIGMAS,
    reference: int | None = None,
) -> tuple[EwmaPoint, ...]:
    """The chart of values in order of time.

    Args:
        values: any number, one unit.
        target: where they should be, same unit.
        deviation: standard deviation of a single value, same unit, > 0.
        weight: of the newest value, above 0 to 1; 1 is the plain chart of single values.
        limit_sigmas: half width of the limits in standard deviations of the average, > 0.
        reference: values whose mean the target is, which makes the limits wider; None for a target known exactly.
    Returns:
        one point a value.
    Raises:
        MeasureError: a weight, deviation or half width that is not allowed.
        NotFinite: a value is NaN or infinite.
    Source:
        NIST/SEMATECH e-Handbook, 6.3.2.4; variance s²·w/(2 - w)·(1 - (1 - w)^2i), Lucas and Saccucci (1990).
    """
    if not (0.0 < weight <= 1.0 and deviation > 0.0 and limit_sigmas > 0.0):
        raise MeasureError(
            f"chart: weight {weight:g}, deviation {deviation:g}, limits at {limit_sigmas:g}; allowed: a weight above 0 "
            "to 1, the others above 0"
        )
    points, average = [], target
    unsure = 0.0 if reference is None else 1.0 / reference
    for index, value in enumerate(values):
        if not math.isfinite(value):
            raise NotFinite(f"chart: value {index} is {value}; allowed: numbers: leave that run out")
        average = weight * value + (1.0 - weight) * average
        memory = 1.0 - (1.0 - weight) ** (2 * (index + 1))
        half = limit_sigmas * deviation * math.sqrt(weight / (2.0 - weight) * memory + unsure)
        points.append(EwmaPoint(value=value, average=average, low=target - half, high=target + half))
    return tuple(points)


def run_limit_ratio(charts: int, reference: int | None) -> float:
    """How wide the limits of each of several charts must be, so that all together raise a false alarm as one would.

    Args:
        charts: looked at together, 1 or more.
        reference: values that target and deviation come from, 2 or more; None where both are known exactly.
    Returns:
        half width in standard deviations: Student's quantile at the chance of one chart shared among all.
    Raises:
        MeasureError: no chart, or a reference of fewer than two values.
    Source:
        Bonferroni's inequality; Student's t for an estimated deviation. That the mean is estimated too is in `ewma`.
    """
    if charts < 1 or (reference is not None and reference < 2):
        raise MeasureError(f"charts: {charts}, reference of {reference} values; allowed: 1 or more, 2 or more")
    from scipy.stats import norm, t

    tail = FALSE_ALARM / charts / 2.0
    return float(norm.isf(tail) if reference is None else t.isf(tail, reference - 1))
