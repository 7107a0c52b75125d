"""How wide the range of a few normal values is, in their standard deviations: the constants of range methods."""

from __future__ import annotations

import functools
import math

import numpy as np

from harness.errors import MeasureError

MOST = 1000
"""Beyond it nobody takes ranges, and the integration is not proven."""
_STEPS = 401
_NODES = 120
_REACH = 9.0


@functools.cache
def _moments(size: int) -> tuple[float, float]:
    """Mean and standard deviation of the range of so many standard normal values."""
    if not 2 <= size <= MOST:
        raise MeasureError(f"range of {size} values; allowed: 2 to {MOST}")
    from scipy.special import ndtr

    x = np.linspace(-_REACH, _REACH, _STEPS)
    node, weight = np.polynomial.legendre.leggauss(_NODES)
    width, weight = _REACH * (node + 1.0), _REACH * weight
    density = np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi)
    below = ndtr(x[None, :] + width[:, None]) - ndtr(x)[None, :]
    # Chance that the range is at most `width`; over x the integrand vanishes smoothly at both ends, over the width not.
    chance = size * np.trapezoid(density * below ** (size - 1), x, axis=1)
    mean = float(weight @ (1.0 - chance))
    square = float(weight @ (2.0 * width * (1.0 - chance)))
    return mean, math.sqrt(square - mean * mean)


def mean_range_ratio(size: int) -> float:
    """Mean range over standard deviation, for the mean of many ranges.

    Args:
        size: values in each range, 2 to 1000.
    Returns:
        d2.
    Raises:
        MeasureError: fewer than 2 values, or more than 1000.
    Source:
        d2 = ∫ 1 - F(w) dw with F(w) = n ∫ φ(x)·(Φ(x + w) - Φ(x))^(n-1) dx, Tippett (1925).
    """
    return _moments(size)[0]


def single_range_ratio(size: int) -> float:
    """Root mean square of the range over standard deviation, for one single range.

    Args:
        size: values in the range, 2 to 1000.
    Returns:
        d2* of one group.
    Raises:
        MeasureError: fewer than 2 values, or more than 1000.
    Source:
        d2*² = d2² + d3², Duncan, Quality Control and Industrial Statistics, table D3 (one sample).
    """
    return math.hypot(*_moments(size))
