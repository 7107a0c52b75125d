"""A control chart that remembers: exponentially weighted moving average."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from harness.errors import MeasureError
from harness.judge.uncertainty.checked import Floats, checked

WEIGHT_RATIO = 0.2
WIDTH = 2.86
"""Lambda and L: about 370 values between false alarms, as of one value beyond three deviations."""
FALSE_ALARM = 2.0 * (1.0 - 0.5 * (1.0 + math.erf(WIDTH / math.sqrt(2.0))))
"""Chance that one average of a chart whose limits are known lies beyond them."""


def ewma(
    values: npt.ArrayLike,
    *,
    mean: float,
    deviation: float,
    weight_ratio: float = WEIGHT_RATIO,
    width: float = WIDTH,
    reference: int | None = None,
) -> tuple[Floats, Floats]:
    """An exponentially weighted mean and the half width of its limits.

    Args:
        values: shape (n,), in order of time, any unit, n >= 1.
        mean: where it begins and its limits lie about, same unit.
        deviation: of a single value, same unit, > 0.
        weight_ratio: lambda, of the newest value, above 0 to 1; 1 is the plain chart of single values.
        width: L, half width of the limits in standard deviations of the weighted mean, > 0.
        reference: values that `mean` is the mean of, which makes the limits wider; None where it is known exactly.
    Returns:
        the weighted mean after each value, and the half width there, both shape (n,).
    Raises:
        NotFinite: a number is outside its bounds.
    Source:
        NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4; limits before the steady state: Lucas and Saccucci,
        Technometrics 32, 1990.
    """
    where = "EWMA"
    x = checked(where, "a value", values)
    weight = float(checked(where, "weight_ratio", weight_ratio, least=0.0, most=1.0, open_at="least"))
    sigma = float(checked(where, "deviation", deviation, least=0.0, open_at="least"))
    sigmas = float(checked(where, "width", width, least=0.0, open_at="least"))
    begin = float(checked(where, "mean", mean))
    unsure = 0.0 if reference is None else 1.0 / float(checked(where, "reference", reference, least=1.0))
    from scipy.signal import lfilter

    weighted = begin + lfilter([weight], [1.0, weight - 1.0], x - begin)
    left = (1.0 - weight) ** (2.0 * np.arange(1, len(x) + 1))
    return weighted, sigmas * sigma * np.sqrt(weight / (2.0 - weight) * (1.0 - left) + unsure)


def run_limit_ratio(charts: int, reference: int | None) -> float:
    """How wide the limits of each of several charts must be, so that all together raise a false alarm as one would.

    Args:
        charts: looked at together, 1 or more.
        reference: values that target and deviation come from, 2 or more; None where both are known exactly.
    Returns:
        half width in standard deviations: Student's quantile at the chance of one chart shared among all.
    Raises:
        MeasureError: no chart, or a reference of fewer than two values.
    Source:
        Bonferroni's inequality; Student's t for an estimated deviation. That the mean is estimated too is in `ewma`.
    """
    if charts < 1 or (reference is not None and reference < 2):
        raise MeasureError(f"charts: {charts}, reference of {reference} values; allowed: 1 or more, 2 or more")
    from scipy.stats import norm, t

    tail = FALSE_ALARM / charts / 2.0
    return float(norm.isf(tail) if reference is None else t.isf(tail, reference - 1))
