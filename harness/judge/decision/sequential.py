"""When a mean of ever more records is certain enough: a repeated significance test, its error spent evenly."""

from __future__ import annotations

import math
from collections.abc import Sequence

from scipy import special

from harness.errors import NotFinite

SCATTER_RISK = 0.001
"""Chance that a scatter as stated is taken for a larger one; the test then only becomes more careful."""


def half_width(values: Sequence[float], *, stated: float, risk: float, most: int) -> float:
    """How far the true mean may be from the mean of some values, whatever number of looks led to them.

    Args:
        values: one from each record so far, in any unit.
        stated: standard deviation of a single one, as noise and repeatability state it, same unit; > 0.
        risk: chance that at any of all looks the true mean lies farther away; 0 < risk < 1.
        most: looks that there will be at most, one after each record.
    Returns:
        the half width, same unit. Where the values scatter more than stated, beyond chance, it follows from their own
        scatter (Student's t), else from the stated one.
    Raises:
        NotFinite: no value, more than `most`, or one that is no finite number; a deviation or risk out of range.
    Source:
        Armitage, McPherson and Rowe, J. R. Statist. Soc. A 132 (1969): looks that repeat add up their errors; spent
        here as risk/most a look, as in Lan and DeMets, Biometrika 70 (1983), by Bonferroni's inequality, which needs
        nothing of how the looks depend on each other.
    """
    count = len(values)
    if not (1 <= count <= most and 0.0 < risk < 1.0 and stated > 0.0 and all(map(math.isfinite, (stated, *values)))):
        raise NotFinite(
            f"sequential test: {count} values of at most {most}, deviation {stated!r}, risk {risk!r}; allowed: 1 to "
            f"{most} finite values, a deviation above 0, a risk between 0 and 1"
        )
    tail = risk / most / 2.0
    normal = -float(special.ndtri(tail)) * stated
    if count > 2:
        mean = sum(values) / count
        squares = sum((value - mean) ** 2 for value in values)
        if squares > float(special.chdtri(count - 1, SCATTER_RISK)) * stated**2:
            own = math.sqrt(squares / (count - 1))
            return max(normal, -float(special.stdtrit(count - 1, tail)) * own) / math.sqrt(count)
    return normal / math.sqrt(count)


def certain(
    values: Sequence[float], edges: Sequence[float], *, stated: float, risk: float, most: int
) -> bool:
    """Whether the true mean comes out as the mean does: no edge between two outcomes lies within the half width.

    Args:
        values, stated, risk, most: as of `half_width`.
        edges: where one outcome ends and another begins, same unit; infinite ones bound nothing.
    Returns:
        True when further records are not needed for the decision.
    Raises:
        NotFinite: as `half_width`.
    Source:
        as `half_width`.
    """
    mean = sum(values) / max(len(values), 1)
    within = half_width(values, stated=stated, risk=risk, most=most)
    return not any(abs(edge - mean) <= within for edge in edges)
