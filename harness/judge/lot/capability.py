"""How well a spread of numbers fits between limits: Cp and Cpk, with the interval that so few numbers leave."""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.errors import NotFinite
from harness.judge.uncertainty.checked import checked

LEAST_NUMBERS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """Capability of one number over many units."""

    count: int
    """Numbers that it rests on."""
    mean: float
    deviation: float
    """Standard deviation of the sample, n - 1, in the unit of the limits."""
    cp: float | None
    """None with one limit."""
    cp_interval: tuple[float, float] | None
    cpk: float
    """By the nearer limit; below 0 where the mean lies outside."""
    cpk_interval: tuple[float, float]


def capability(
    mean: float, deviation: float, count: int, *, low: float | None, high: float | None, confidence_ratio: float = 0.95
) -> Capability:
    """Cp and Cpk of a sample between limits, each with its interval.

    Args:
        mean: of the sample, in the unit of the limits.
        deviation: standard deviation of the sample, n - 1, same unit, > 0.
        count: numbers in the sample, >= 2.
        low, high: limits, same unit; None where there is none, at least one of the two.
        confidence_ratio: of both intervals, two-sided, 0 to 1, both excluded.
    Returns:
        the indices; Cp and its interval None with one limit.
    Raises:
        NotFinite: a number is NaN, infinite or outside its bounds; no limit; low not below high.
    Source:
        NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6; intervals: Montgomery, Introduction to Statistical
        Quality Control (chi-square for Cp, Bissell's normal approximation for Cpk).
    """
    where = "capability"
    m = float(checked(where, "mean", mean))
    s = float(checked(where, "deviation", deviation, least=0.0, open_at="least"))
    n = float(checked(where, "count", count, least=float(LEAST_NUMBERS)))
    p = float(checked(where, "confidence_ratio", confidence_ratio, least=0.0, most=1.0, open_at="both"))
    edges = [float(checked(where, "limit", edge)) for edge in (low, high) if edge is not None]
    if not edges or edges != sorted(set(edges)):
        raise NotFinite(f"{where}: limits are {low!r} and {high!r}; allowed is one finite limit, or low < high")
    from scipy.special import chdtri, ndtri

    tail = (1.0 - p) / 2.0
    sides = ([] if low is None else [(m - low) / (3.0 * s)]) + ([] if high is None else [(high - m) / (3.0 * s)])
    cpk = min(sides)
    half = float(ndtri(1.0 - tail)) * math.sqrt(1.0 / (9.0 * n) + cpk * cpk / (2.0 * (n - 1.0)))
    cp = cp_interval = None
    if low is not None and high is not None:
        cp = (high - low) / (6.0 * s)
        # chdtri takes the upper tail.
        ends = [math.sqrt(float(chdtri(n - 1.0, upper)) / (n - 1.0)) for upper in (1.0 - tail, tail)]
        cp_interval = (cp * ends[0], cp * ends[1])
    interval = (cpk - half, cpk + half)
    return Capability(
        count=int(n), mean=m, deviation=s, cp=cp, cp_interval=cp_interval, cpk=cpk, cpk_interval=interval
    )
