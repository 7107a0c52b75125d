"""The only decibel functions of the house; everywhere else a gain is a ratio."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from harness.errors import NotFinite


def db_from_ratio(ratio: float) -> float:
    """How many decibels an amplitude ratio is.

    Args:
        ratio: amplitude ratio, > 0, finite.
    Returns:
        20·log10(ratio), dB.
    Raises:
        NotFinite: the ratio is not a positive finite number.
    Source:
        definition of the decibel for field quantities; check values in tests/published/.
    """
    if not (math.isfinite(ratio) and ratio > 0.0):
        raise NotFinite(f"decibel of ratio {ratio!r}: allowed is a positive finite number")
    return 20.0 * math.log10(ratio)


def ratio_from_db(level_db: float) -> float:
    """Which amplitude ratio a number of decibels is.

    Args:
        level_db: level, dB, finite.
    Returns:
        10^(level_db/20), > 0.
    Raises:
        NotFinite: the level is not finite.
    Source:
        definition of the decibel for field quantities; check values in tests/published/.
    """
    if not math.isfinite(level_db):
        raise NotFinite(f"ratio of {level_db!r} dB: allowed is a finite number")
    return float(10.0 ** (level_db / 20.0))


def db_from_ratios(ratios: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """How many decibels each amplitude ratio of an array is.

    Args:
        ratios: any shape, > 0, finite.
    Returns:
        same shape, 20·log10, dB.
    Raises:
        NotFinite: a ratio is not a positive finite number.
    Source:
        as db_from_ratio.
    """
    if not bool(np.all(np.isfinite(ratios) & (ratios > 0.0))):
        raise NotFinite("decibels of an array: allowed are positive finite ratios only")
    return np.asarray(20.0 * np.log10(ratios), dtype=np.float64)
