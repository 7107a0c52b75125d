"""Arrays and lists as they stand in the tables."""

from __future__ import annotations

import json
import zlib
from typing import Any

import numpy as np
import numpy.typing as npt

from harness.errors import StoreError

# Level 1: an eighth of the time of level 6 for a tenth more bytes, on noisy codes.
_LEVEL = 1

_ENCODER = json.JSONEncoder(separators=(",", ":"))

CODES = np.dtype("<i2")
TIMES = np.dtype("<i8")
LEVELS = np.dtype("u1")


def packed(array: npt.NDArray[Any], dtype: np.dtype[Any], name: str) -> bytes:
    """An array's bytes, little-endian, compressed.

    Raises:
        StoreError: the array is of another type, whose values might not fit, or has not one dimension.
    """
    if array.ndim != 1 or not np.can_cast(array.dtype, dtype, casting="equiv"):
        got = f"array of {array.dtype}, shape {array.shape}"
        raise StoreError(f"{name}: {got}; allowed: {dtype.name}, shape (n,): nothing was recorded")
    return zlib.compress(np.ascontiguousarray(array, dtype=dtype).tobytes(), _LEVEL)


def unpacked(blob: bytes, dtype: np.dtype[Any], count: int, name: str) -> npt.NDArray[Any]:
    """The array that was packed, in the machine's own byte order.

    Raises:
        StoreError: the bytes hold another number of values.
        zlib.error: the bytes are damaged.
    """
    array = np.frombuffer(zlib.decompress(blob), dtype=dtype)
    if array.size != count:
        raise StoreError(f"{name}: {array.size} values, but {count} were recorded")
    return array.astype(dtype.newbyteorder("="))


def listed(values: object) -> str:
    """Nested tuples of texts as JSON."""
    return _ENCODER.encode(values)


def pairs(text: str) -> tuple[tuple[str, str], ...]:
    """A list of pairs of texts."""
    return tuple((str(name), str(value)) for name, value in json.loads(text))


def texts(text: str) -> tuple[str, ...]:
    """A list of texts."""
    return tuple(str(entry) for entry in json.loads(text))


def numbers(text: str) -> tuple[float, ...]:
    """A list of numbers; empty for an empty text."""
    return tuple(float(value) for value in json.loads(text)) if text else ()
