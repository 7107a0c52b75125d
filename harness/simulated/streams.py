"""Random streams by name, so that a new part draws from its own and shifts no other."""

from __future__ import annotations

import hashlib

import numpy as np


def stream(seed: int, name: str) -> np.random.Generator:
    """The generator of one part: the same seed and name give the same numbers, on every machine."""
    digest = hashlib.sha256(f"{seed}/{name}".encode()).digest()
    return np.random.Generator(np.random.SFC64(int.from_bytes(digest[:16], "big")))


def within(seed: int, name: str, half_width: float) -> float:
    """A value of a good part: normal, standard deviation 0.4 of the half width, cut off at the half width."""
    generator = stream(seed, name)
    while True:
        value = float(generator.normal(0.0, 0.4))
        if abs(value) <= 1.0:
            return value * half_width
