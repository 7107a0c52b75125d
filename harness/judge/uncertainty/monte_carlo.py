"""The same budget by drawing: a check of the closed form. The generator is the caller's; this room owns no chance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

import numpy as np
import numpy.typing as npt

from harness.errors import MeasureError
from harness.judge.uncertainty.checked import Floats, checked
from harness.judge.uncertainty.contribution import Contribution
from harness.judge.uncertainty.shape import Shape


class Generator(Protocol):
    """What is used of a NumPy Generator."""

    def random(self, size: int) -> npt.NDArray[np.float64]:
        """Even between 0 and 1."""
        ...

    def standard_normal(self, size: int) -> npt.NDArray[np.float64]:
        """Normal, mean 0, standard deviation 1."""
        ...

    def standard_t(self, df: float, size: int) -> npt.NDArray[np.float64]:
        """Student's, `df` degrees of freedom."""
        ...


def draw(contribution: Contribution, generator: Generator, *, draws: int) -> Floats:
    """Possible values of one contribution.

    Args:
        contribution: percent of gain.
        generator: the caller's.
        draws: how many, >= 1.
    Returns:
        shape (draws,), percent of gain, mean 0. A student contribution is drawn from Student's distribution scaled by
        its standard uncertainty, so its variance is larger by ν/(ν - 2).
    Raises:
        NotFinite: draws is below 1.
    Source:
        JCGM 101:2008, 6.4.
    """
    checked("Monte Carlo", "draws", draws, least=1)
    value = contribution.value_percent
    match contribution.shape:
        case Shape.NORMAL:
            return value * generator.standard_normal(draws)
        case Shape.STUDENT if math.isfinite(contribution.dof):
            return value * generator.standard_t(contribution.dof, draws)
        case Shape.STUDENT:
            return value * generator.standard_normal(draws)
        case Shape.RECTANGULAR:
            return value * (2.0 * generator.random(draws) - 1.0)
        case Shape.ARCSINE:
            return value * np.sin(2.0 * math.pi * generator.random(draws))
        case Shape.TRIANGULAR | Shape.TRAPEZOID:
            beta = contribution.beta_ratio if contribution.shape is Shape.TRAPEZOID else 0.0
            halves = value * (1.0 + beta) / 2.0, value * (1.0 - beta) / 2.0
            return sum((half * (2.0 * generator.random(draws) - 1.0) for half in halves), np.zeros(draws))


def draw_sum(contributions: Sequence[Contribution], generator: Generator, *, draws: int) -> Floats:
    """Possible errors of a gain, all contributions together.

    Args:
        contributions: independent of each other, percent of gain.
        generator: the caller's.
        draws: how many, >= 1.
    Returns:
        shape (draws,), percent of gain, mean 0.
    Raises:
        NotFinite: draws is below 1.
    Source:
        JCGM 101:2008, 7.
    """
    total = np.zeros(int(checked("Monte Carlo", "draws", draws, least=1)))
    for contribution in contributions:
        total += draw(contribution, generator, draws=draws)
    return total


def coverage_interval(
    samples: Floats, *, probability_ratio: float = 0.95, shortest: bool = False
) -> tuple[float, float]:
    """Between which values a share of the draws lies.

    Args:
        samples: shape (n,), any unit, n >= 2.
        probability_ratio: the share, 0 to 1, both excluded.
        shortest: the shortest interval instead of the one with equal tails.
    Returns:
        lower and upper end, same unit.
    Raises:
        NotFinite: a draw is not finite, or the share is outside its bounds.
        MeasureError: fewer than two draws.
    Source:
        JCGM 101:2008, 7.7.
    """
    values = np.sort(checked("coverage interval", "a draw", samples), axis=None)
    where = "coverage interval"
    p = float(checked(where, "probability_ratio", probability_ratio, least=0.0, most=1.0, open_at="both"))
    if values.size < 2:
        raise MeasureError(f"{where}: {values.size} draws; allowed are 2 or more")
    inside = min(max(round(p * values.size), 1), values.size - 1)
    starts = values.size - inside
    first = int(np.argmin(values[inside:] - values[:starts])) if shortest else starts // 2
    return float(values[first]), float(values[first + inside])
