"""The gain laws that compete: how the logarithm of a gain follows a code."""

from __future__ import annotations

import enum

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


class Shape(enum.StrEnum):
    """A law of a code; the names are those of the stages that a device file knows."""

    LINEAR_CODE = "linear-code"
    """Gain proportional to the code; an MDAC as attenuator is the same shape."""
    MDAC_FEEDBACK = "mdac-feedback"
    """Gain proportional to 1/code."""
    LINEAR_IN_DB = "linear-in-db"
    """The same number of dB for each code, up or down; a step attenuator is the same shape."""
    TABLE = "table"
    """One gain for each code, whatever it is."""


def fixed_part(shape: Shape, codes: npt.NDArray[np.int64]) -> Floats:
    """What a shape says of ln gain without any parameter.

    Args:
        shape: of the law.
        codes: shape (n,).
    Returns:
        shape (n,), up to a constant; NaN where the shape cannot have the code.
    Source:
        definitions of the stages: gain = k · code, gain = k / code, gain in dB = a + b · code.
    """
    if shape in (Shape.LINEAR_CODE, Shape.MDAC_FEEDBACK):
        logs = np.log(np.where(codes >= 1, codes, np.nan))
        return logs if shape is Shape.LINEAR_CODE else -logs
    return np.zeros(codes.size)


def regressors(shape: Shape, codes: npt.NDArray[np.int64], levels: npt.NDArray[np.int64]) -> Floats:
    """The columns whose weights a shape leaves open.

    Args:
        shape: of the law.
        codes: shape (n,).
        levels: distinct codes in order, for the table; between two of them ln gain is a straight line.
    Returns:
        shape (n, p): the code for linear-in-db, one column a level but the first for the table, else none.
    Source:
        as fixed_part.
    """
    if shape is Shape.LINEAR_IN_DB:
        return codes.astype(np.float64)[:, None]
    if shape is not Shape.TABLE or levels.size < 2:
        return np.zeros((codes.size, 0))
    after = np.clip(np.searchsorted(levels, codes), 1, levels.size - 1)
    share = (codes - levels[after - 1]) / (levels[after] - levels[after - 1])
    columns = np.zeros((codes.size, levels.size))
    rows = np.arange(codes.size)
    columns[rows, after - 1] = 1.0 - share
    columns[rows, after] += share
    return columns[:, 1:]
