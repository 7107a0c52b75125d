"""Points of the chi-square distribution without a table."""

from __future__ import annotations

import math

Z_999 = 3.0902323
"""99.9 % point of the normal distribution."""


def chi_square_999(dof: int) -> float:
    """What a sum of squares of so many standard normal numbers exceeds once in a thousand.

    Args:
        dof: degrees of freedom, > 0.
    Returns:
        the 99.9 % point.
    Source:
        Wilson and Hilferty's cube root (1931), from memory; held against a library in tests/diagnosis/.
    """
    share = 2.0 / (9.0 * dof)
    return float(dof * (1.0 - share + Z_999 * math.sqrt(share)) ** 3)
