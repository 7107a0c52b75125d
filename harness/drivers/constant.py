"""A correction constant as a device holds it, and its answer taken apart."""

from __future__ import annotations

import math
import re
from collections.abc import Set
from dataclasses import dataclass

PARTS = ("gain_ratio", "offset_code")
"""What a constant may consist of, in the order in which a device answers."""
_BETWEEN = re.compile(r"\s*[,;]\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldConstant:
    """The correction of one range of one channel."""

    gain_ratio: float
    """True gain over the gain that the device would display without it."""
    offset_code: float | None
    """Code that stands for 0 V; None where the device keeps no offsets."""


def read_constant(reply: str, placeholders: Set[str]) -> HeldConstant | None:
    """The constant in an answer; None where it is not as many finite numbers as the command writes."""
    wanted = [part for part in PARTS if part in placeholders]
    try:
        numbers = [float(text) for text in _BETWEEN.split(reply.strip())]
    except ValueError:
        return None
    if len(numbers) != len(wanted) or not all(math.isfinite(number) and abs(number) < 9.9e36 for number in numbers):
        return None
    found = dict(zip(wanted, numbers, strict=True))
    return HeldConstant(gain_ratio=found["gain_ratio"], offset_code=found.get("offset_code"))
