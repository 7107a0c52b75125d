"""Distributions that a contribution may have: standard deviation and coverage of each."""

from __future__ import annotations

import enum
import math

from harness.judge.uncertainty.checked import checked


class Shape(enum.StrEnum):
    """How a contribution is distributed."""

    NORMAL = "normal"
    """Stated by its standard uncertainty."""
    STUDENT = "student"
    """Mean of few observations, stated by its standard uncertainty s/√n and n - 1 degrees of freedom."""
    RECTANGULAR = "rectangular"
    """Stated by its half width: only limits are known."""
    TRIANGULAR = "triangular"
    """Stated by its half width: sum of two equal rectangles."""
    ARCSINE = "arcsine"
    """Stated by its half width: a sine of unknown phase, such as mismatch."""
    TRAPEZOID = "trapezoid"
    """Stated by its half width and beta = top / base: sum of two rectangles."""


BOUNDED = (Shape.RECTANGULAR, Shape.TRIANGULAR, Shape.ARCSINE, Shape.TRAPEZOID)
"""Stated by a half width instead of a standard uncertainty."""


def standard_ratio(shape: Shape, *, beta_ratio: float = 0.0) -> float:
    """What a stated value must be multiplied by to become a standard uncertainty.

    Args:
        shape: the distribution.
        beta_ratio: top over base of a trapezoid, 0 (triangle) to 1 (rectangle); other shapes ignore it.
    Returns:
        1 for normal and student; 1/√3, 1/√6, 1/√2, √((1 + β²)/6) for rectangle, triangle, arcsine, trapezoid.
    Raises:
        NotFinite: beta_ratio is outside 0 to 1.
    Source:
        JCGM 100:2008, 4.3.7 and 4.3.9; JCGM 101:2008, 6.4 (arcsine).
    """
    beta = float(checked("standard uncertainty", "beta_ratio", beta_ratio, least=0.0, most=1.0))
    if shape not in BOUNDED:
        return 1.0
    squares = {Shape.RECTANGULAR: 1.0 / 3.0, Shape.TRIANGULAR: 1.0 / 6.0, Shape.ARCSINE: 1.0 / 2.0}
    return math.sqrt(squares.get(shape, (1.0 + beta * beta) / 6.0))


def shape_factor(shape: Shape, *, probability_ratio: float, beta_ratio: float = 0.0) -> float:
    """Which coverage factor a single distribution needs for a probability.

    Args:
        shape: the distribution; student counts as normal here (see student_factor).
        probability_ratio: of the symmetric interval, 0 to 1, both excluded.
        beta_ratio: top over base of a trapezoid, 0 to 1.
    Returns:
        k, so that ±k standard uncertainties hold the value with that probability.
    Raises:
        NotFinite: an argument is outside its bounds.
    Source:
        EA-4/02 supplement, S9 (rectangle) and S10 (trapezoid), closed forms of the convolution of two rectangles.
    """
    where = "coverage factor"
    p = float(checked(where, "probability_ratio", probability_ratio, least=0.0, most=1.0, open_at="both"))
    unit = standard_ratio(shape, beta_ratio=beta_ratio)
    match shape:
        case Shape.NORMAL | Shape.STUDENT:
            from scipy.special import ndtri

            return float(ndtri((1.0 + p) / 2.0))
        case Shape.ARCSINE:
            return math.sin(math.pi * p / 2.0) / unit
        case Shape.RECTANGULAR:
            beta = 1.0
        case Shape.TRIANGULAR:
            beta = 0.0
        case Shape.TRAPEZOID:
            beta = beta_ratio
    if beta < p / (2.0 - p):
        return (1.0 - math.sqrt((1.0 - p) * (1.0 - beta * beta))) / unit
    return p * (1.0 + beta) / 2.0 / unit


def trapezoid_of(first: float, second: float) -> tuple[float, float]:
    """Which trapezoid two independent rectangles add up to.

    Args:
        first, second: half widths, any one unit, >= 0, not both zero.
    Returns:
        half width of the base, same unit, and beta, the ratio of top to base.
    Raises:
        NotFinite: a half width is negative or not finite, or both are zero.
    Source:
        EA-4/02 supplement, S10.
    """
    for name, value in (("first", first), ("second", second)):
        checked("sum of two rectangles", name, value, least=0.0)
    base = float(checked("sum of two rectangles", "first + second", first + second, least=0.0, open_at="least"))
    return base, abs(first - second) / base
