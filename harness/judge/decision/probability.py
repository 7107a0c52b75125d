"""How likely an item is good, given its reading: conformance probability and specific risks."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from harness.judge.uncertainty.checked import Floats, checked


def conformance_probability(
    value: npt.ArrayLike, *, standard: npt.ArrayLike, low: float | None = None, high: float | None = None
) -> Floats:
    """How likely the true value lies within the limits.

    Args:
        value: readings, any shape and any one unit.
        standard: standard uncertainty of each (normal), broadcastable, same unit, > 0.
        low, high: limits, same unit; None for an open side.
    Returns:
        probability of each, 0 to 1.
    Raises:
        NotFinite: an argument is not finite or a standard uncertainty is not positive.
    Source:
        JCGM 106:2012, 7.3 to 7.5: normal posterior, prior without information.
    """
    where = "conformance probability"
    if isinstance(value, float) and isinstance(standard, float) and math.isfinite(value) and 0.0 < standard < math.inf:
        return np.asarray(_of_one(value, standard, low, high), dtype=np.float64)
    read = checked(where, "value", value)
    u = checked(where, "standard", standard, least=0.0, open_at="least")
    from scipy.special import ndtr

    outside = np.zeros(np.broadcast_shapes(read.shape, u.shape))
    if high is not None:
        outside = outside + ndtr((read - checked(where, "high", high)) / u)
    if low is not None:
        outside = outside + ndtr((checked(where, "low", low) - read) / u)
    return np.asarray(np.clip(1.0 - outside, 0.0, 1.0), dtype=np.float64)


def _of_one(value: float, standard: float, low: float | None, high: float | None) -> float:
    """The same of a single number, without the cost of arrays: a run asks a hundred thousand times."""
    from scipy.special import ndtr

    where = "conformance probability"
    outside = 0.0
    if high is not None:
        outside += float(ndtr((value - _edge(where, "high", high)) / standard))
    if low is not None:
        outside += float(ndtr((_edge(where, "low", low) - value) / standard))
    return min(max(1.0 - outside, 0.0), 1.0)


def _edge(where: str, name: str, edge: float) -> float:
    return edge if math.isfinite(edge) else float(checked(where, name, edge))


def consumer_risk(
    value: npt.ArrayLike, *, standard: npt.ArrayLike, low: float | None = None, high: float | None = None
) -> Floats:
    """How likely an item that is accepted with this reading is bad.

    Args:
        value: readings, any shape and any one unit.
        standard: standard uncertainty of each (normal), broadcastable, same unit, > 0.
        low, high: limits, same unit; None for an open side.
    Returns:
        specific consumer's risk of each, 0 to 1: one less the conformance probability. The specific producer's risk of
        a rejected item is the conformance probability itself.
    Raises:
        NotFinite: as conformance_probability.
    Source:
        JCGM 106:2012, 9.3.2 and 9.3.3.
    """
    return 1.0 - conformance_probability(value, standard=standard, low=low, high=high)


def guard_factor(probability_ratio: float) -> float:
    """How many standard uncertainties inside (outside) a limit make conformity (nonconformity) this likely.

    Args:
        probability_ratio: wanted, 0 to 1, both excluded.
    Returns:
        z, so that w = z·u; negative below 0.5.
    Raises:
        NotFinite: the probability is outside its bounds.
    Source:
        JCGM 106:2012, 8.3.2.3 and 8.3.3 (guarded rejection), one limit near.
    """
    where = "guard factor"
    p = checked(where, "probability_ratio", probability_ratio, least=0.0, most=1.0, open_at="both")
    from scipy.special import ndtri

    return float(ndtri(p))
