"""Random streams by name, so that a new part draws from its own and shifts no other."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class Lineage:
    """Where a unit comes from: its parts are alike within a lot, and no two units of it are the same."""

    root: int
    lot: str
    unit: str
    """Serial number, or number within the lot."""
    share: float
    """Share of the variance that the lot has in common."""

    def __str__(self) -> str:
        return f"{self.root}/lot {self.lot}/unit {self.unit}"


Seed = int | Lineage


def stream(seed: Seed | str, name: str) -> np.random.Generator:
    """The generator of one part: the same seed and name give the same numbers, on every machine."""
    digest = hashlib.sha256(f"{seed}/{name}".encode()).digest()
    return np.random.Generator(np.random.SFC64(int.from_bytes(digest[:16], "big")))


def within(seed: Seed, name: str, half_width: float) -> float:
    """A value of a good part: normal, standard deviation 0.4 of the half width, cut off at the half width."""
    if isinstance(seed, int):
        return _cut(stream(seed, name), 0.0, 1.0) * half_width
    # All channels of all units of a lot have the part from one reel.
    reel = name.partition("/")[2] or name
    common = _cut(stream(f"{seed.root}/lot {seed.lot}", reel), 0.0, 1.0) * math.sqrt(seed.share)
    return _cut(stream(seed, name), common, math.sqrt(1.0 - seed.share)) * half_width


def _cut(generator: np.random.Generator, middle: float, scale: float) -> float:
    while True:
        value = middle + scale * float(generator.normal(0.0, 0.4))
        if abs(value) <= 1.0:
            return value
