"""A straight line through calibration points, with the uncertainty of the line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.errors import FitFailed
from harness.judge.uncertainty.checked import Floats, checked, same_length


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """y = intercept + slope·(x - origin); the array is made read-only."""

    intercept: float
    slope: float
    origin: float
    covariance: Floats
    """Shape (2, 2), of intercept and slope."""
    residual: float
    """Standard deviation of the points about the line."""
    dof: int

    def __post_init__(self) -> None:
        self.covariance.setflags(write=False)

    def at(self, x: float) -> float:
        """The line at x."""
        return self.intercept + self.slope * (x - self.origin)

    def standard_at(self, x: float) -> float:
        """Standard uncertainty of the line at x; a new single observation has the residual on top."""
        weights = np.array([1.0, x - self.origin])
        return float(np.sqrt(weights @ self.covariance @ weights))


def fit_line(x: Floats, y: Floats, *, origin: float = 0.0) -> Line:
    """The straight line through points of equal weight.

    Args:
        x: shape (n,), exact, any unit, n >= 3.
        y: shape (n,), any unit.
        origin: where the intercept is taken, unit of x.
    Returns:
        the line; uncertainties from the residuals, n - 2 degrees of freedom.
    Raises:
        NotFinite: a number is not finite.
        MeasureError: the arrays differ in length.
        FitFailed: fewer than three points, or all at one place.
    Source:
        JCGM 100:2008, H.3.2.
    """
    where = "line"
    places, values = checked(where, "x", x), checked(where, "y", y)
    start = float(checked(where, "origin", origin))
    count = same_length(where, x=places, y=values)
    centre = float(places.mean()) if count else 0.0
    apart = places - centre
    spread = float(apart @ apart)
    if count < 3 or spread <= 0.0:
        raise FitFailed(f"{where}: {count} points, spread {spread:g}; allowed are 3 points or more at different places")
    slope = float(apart @ values) / spread
    at_centre = float(values.mean())
    residuals = values - at_centre - slope * apart
    variance = float(residuals @ residuals) / (count - 2)
    reach = start - centre
    # Intercept at the origin: mean and slope are independent when taken at the centre of the points.
    mixed = variance * reach / spread
    covariance = np.array(
        [[variance * (1.0 / count + reach**2 / spread), mixed], [mixed, variance / spread]], dtype=np.float64
    )
    return Line(
        intercept=at_centre + slope * reach,
        slope=slope,
        origin=start,
        covariance=covariance,
        residual=variance**0.5,
        dof=count - 2,
    )
