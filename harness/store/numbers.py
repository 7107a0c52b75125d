"""Only finite numbers are recorded."""

from __future__ import annotations

import math

from harness.errors import NotFinite

_LIMIT = 9.9e36
"""SCPI's stand-ins for infinity (9.9E37) and not-a-number (9.91E37) are above."""


def finite(value: float, name: str, place: str) -> float:
    """The number itself.

    Raises:
        NotFinite: NaN, an infinity, 9.9E37 or 9.91E37.
    """
    if not (math.isfinite(value) and abs(value) < _LIMIT):
        raise NotFinite(
            f"{place}: {name} is {value!r}; allowed is a finite number below {_LIMIT:g}: nothing was recorded"
        )
    return float(value)
