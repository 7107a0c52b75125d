"""The converter's own noise, from noise against gain over the settings of one path."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from harness.judge.waveform.record import Floats, Seen

LEAST_SETTINGS = 5
LEAST_SPAN = 2.0
"""Ratio of the largest gain to the least."""
KEPT_RATIO = 2.0 / 3.0
"""Share of the settings that must lie on one line; the others may be multiplied by arithmetic."""
MISFIT = 3.5
"""Standard deviations from the line at which a setting does not belong to it."""
LARGEST_U_RATIO = 0.1
"""Standard uncertainty of the converter's variance, relative, above which it is not known."""


def converter_noise(seen: Sequence[Seen]) -> float | None:
    """How much noise the converter adds, quantisation included.

    Arithmetic multiplies noise and gain alike and does not lie on the line of hardware; such settings are left out one
    by one, the worst first, while most of them lie on it. Where they do not, the converter's noise is not known.

    Args:
        seen: records of settings with one path ahead of the gain.
    Returns:
        rms code steps; None where too few settings, too little gain between them or too much scatter leave it open.
    Source:
        σ² = (e·G)² + e_c², weighted line; a variance of n samples scatters by √(2/n) of itself (Kay 1993, from memory).
    """
    rows = [(s.gain_per_v, s.fit.noise_code, s.effective) for s in seen if s.plain and s.fit.noise_code > 0.0]
    if len(rows) < LEAST_SETTINGS:
        return None
    gains, noises, counts = np.array(rows, dtype=np.float64).T
    squares, variances = (gains / gains.max()) ** 2, noises**2
    weights = counts / 2.0 / variances**2
    kept = np.ones(gains.size, dtype=np.bool_)
    while True:
        if kept.sum() < max(KEPT_RATIO * gains.size, LEAST_SETTINGS) or _span(gains[kept]) < LEAST_SPAN:
            return None
        line = _line(squares[kept], variances[kept], weights[kept])
        off = np.where(kept, np.abs(variances - line[0] - line[1] * squares) * np.sqrt(weights), 0.0)
        if off.max() <= MISFIT:
            break
        kept[int(off.argmax())] = False
    intercept, _, u_intercept = line
    if intercept <= 0.0 or u_intercept > LARGEST_U_RATIO * intercept:
        return None
    return math.sqrt(intercept)


def _span(gains: Floats) -> float:
    return float(gains.max() / gains.min())


def _line(x: Floats, y: Floats, weights: Floats) -> tuple[float, float, float]:
    """Intercept, slope, standard uncertainty of the intercept."""
    total, sum_x, sum_xx = weights.sum(), (weights * x).sum(), (weights * x * x).sum()
    sum_y, sum_xy = (weights * y).sum(), (weights * x * y).sum()
    determinant = total * sum_xx - sum_x**2
    intercept = (sum_xx * sum_y - sum_x * sum_xy) / determinant
    return float(intercept), float((total * sum_xy - sum_x * sum_y) / determinant), math.sqrt(sum_xx / determinant)
