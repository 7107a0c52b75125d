"""The one check of numbers that come into this room."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from harness.errors import MeasureError, NotFinite

Floats = npt.NDArray[np.float64]


def checked(
    where: str, name: str, value: npt.ArrayLike, *, least: float = -np.inf, most: float = np.inf, open_at: str = ""
) -> Floats:
    """Whether numbers are finite and within bounds; gives them back.

    Args:
        where: the calculation, for the message.
        name: the argument, for the message.
        value: a number or an array, any shape.
        least, most: bounds that are allowed themselves, unless open_at names them.
        open_at: "least", "most" or "both": bounds that are not allowed themselves.
    Returns:
        the numbers as an array of the same shape.
    Raises:
        NotFinite: a number is NaN, infinite or outside the bounds.
    Source:
        none: a check of arguments.
    """
    numbers = np.asarray(value, dtype=np.float64)
    low = numbers > least if open_at in ("least", "both") else numbers >= least
    high = numbers < most if open_at in ("most", "both") else numbers <= most
    sound = np.isfinite(numbers) & low & high
    if not bool(np.all(sound)):
        wrong = float(numbers[~sound].flat[0])
        bounds = [
            *([f"{'>' if open_at in ('least', 'both') else '>='} {least:g}"] if np.isfinite(least) else []),
            *([f"{'<' if open_at in ('most', 'both') else '<='} {most:g}"] if np.isfinite(most) else []),
        ]
        raise NotFinite(f"{where}: {name} is {wrong!r}; allowed is a finite number {' and '.join(bounds)}".rstrip())
    return numbers


def checked_dof(where: str, dof: npt.ArrayLike) -> Floats:
    """Whether degrees of freedom are at least 1; infinity is allowed; gives them back.

    Args:
        where: the calculation, for the message.
        dof: a number or an array, any shape.
    Returns:
        the numbers as an array of the same shape.
    Raises:
        NotFinite: a number is NaN or below 1.
    Source:
        none: a check of arguments.
    """
    numbers = np.asarray(dof, dtype=np.float64)
    if not bool(np.all(numbers >= 1.0)):
        wrong = float(numbers[~(numbers >= 1.0)].flat[0])
        raise NotFinite(f"{where}: degrees of freedom are {wrong!r}; allowed is 1 or more, infinity included")
    return numbers


def same_length(where: str, **arrays: Floats) -> int:
    """How many entries arrays have together.

    Args:
        where: the calculation, for the message.
        arrays: by name, for the message.
    Returns:
        the common length.
    Raises:
        MeasureError: they are not all one-dimensional and of one length.
    Source:
        none: a check of arguments.
    """
    shapes = {name: array.shape for name, array in arrays.items()}
    if len(set(shapes.values())) != 1 or any(len(shape) != 1 for shape in shapes.values()):
        got = ", ".join(f"{name} {shape}" for name, shape in shapes.items())
        raise MeasureError(f"{where}: shapes are {got}; allowed are lists of one length")
    return int(next(iter(shapes.values()))[0])
