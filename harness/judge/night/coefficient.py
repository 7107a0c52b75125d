"""How a parameter follows the temperature: a straight line through its deviations."""

from __future__ import annotations

import math
from collections.abc import Sequence

LEAST_SPAN_K = 5.0
"""A night that spans less tells no coefficient."""
PPM_PER_PERCENT = 1e4


def slope_ppm_per_k(temperatures_c: Sequence[float], deviations_percent: Sequence[float]) -> tuple[float, float] | None:
    """The temperature coefficient of a parameter, and its standard uncertainty.

    Args:
        temperatures_c: of the runs.
        deviations_percent: of the parameter, one for each run.
    Returns:
        ppm/K twice, the uncertainty from the scatter about the line; None for fewer than three runs or a small span.
    Source:
        least squares, closed form (NIST/SEMATECH e-Handbook, 4.4.3.1); n - 2 degrees of freedom.
    """
    n = len(temperatures_c)
    if n < 3 or max(temperatures_c) - min(temperatures_c) < LEAST_SPAN_K:
        return None
    mean_c = sum(temperatures_c) / n
    mean_percent = sum(deviations_percent) / n
    sxx = sum((t - mean_c) ** 2 for t in temperatures_c)
    pairs = list(zip(temperatures_c, deviations_percent, strict=True))
    slope = sum((t - mean_c) * (d - mean_percent) for t, d in pairs) / sxx
    left = sum((d - mean_percent - slope * (t - mean_c)) ** 2 for t, d in pairs)
    return PPM_PER_PERCENT * slope, PPM_PER_PERCENT * math.sqrt(left / (n - 2) / sxx)
