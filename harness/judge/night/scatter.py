"""How well a gain repeats, taken apart: read again, relays moved, order of the way."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

LEAST_PAIRS = 4
"""Fewer differences say nothing about a standard deviation."""


def successive_percent(gains: Sequence[float]) -> list[float]:
    """Differences of neighbours, 100·ln: a drift slower than the readings cancels.

    Args:
        gains: in order of time, > 0.
    Returns:
        one less than there are gains, percent.
    Source:
        von Neumann, Ann. Math. Stat. 12, 1941: mean square successive difference.
    """
    return [100.0 * math.log(later / earlier) for earlier, later in pairwise(gains)]


def deviation_percent(differences_percent: Sequence[float]) -> float | None:
    """The standard deviation of one reading, from differences of two.

    Args:
        differences_percent: percent.
    Returns:
        percent; None for too few differences.
    Source:
        var(a - b) = 2·var(a) for independent a and b of the same variance (JCGM 100:2008, 5.1.2).
    """
    if len(differences_percent) < LEAST_PAIRS:
        return None
    return math.sqrt(sum(d * d for d in differences_percent) / len(differences_percent) / 2.0)


def beyond_percent(total_percent: float | None, known_percent: float | None) -> float | None:
    """What one cause adds to another, both in quadrature.

    Args:
        total_percent: standard deviation with both causes.
        known_percent: with one of them.
    Returns:
        that of the other; 0 where the whole is no larger than the part; None where one is unknown.
    Source:
        variances of independent causes add (JCGM 100:2008, 5.1.2; the nested design of H.5).
    """
    if total_percent is None or known_percent is None:
        return None
    return math.sqrt(max(total_percent**2 - known_percent**2, 0.0))
