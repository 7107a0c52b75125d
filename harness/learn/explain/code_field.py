"""A run of bits read as a number."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.learn.explain.movement import Movement, Moves
from harness.learn.explain.observed import Bits, Seen

LEAST_BITS = 2
"""One bit alone has a ratio; a number begins with two."""


@dataclass(frozen=True, slots=True, order=True)
class CodeField:
    """Neighbouring places on the wire that hold one number."""

    start: int
    bits: int
    least_first: bool = False
    """Whether the least significant bit comes first."""

    @property
    def places(self) -> range:
        """Places on the wire, first one first."""
        return range(self.start, self.start + self.bits)

    def codes(self, bits: Bits) -> npt.NDArray[np.int64]:
        """The number that each row holds.

        Args:
            bits: shape (n, b).
        Returns:
            shape (n,).
        Source:
            binary numbers.
        """
        mine = bits[:, self.start : self.start + self.bits].astype(np.int64)
        weights = 1 << np.arange(self.bits, dtype=np.int64)
        return np.asarray(mine @ (weights if self.least_first else weights[::-1]), dtype=np.int64)


def possible_fields(seen: Seen, movement: Movement) -> Iterator[CodeField]:
    """Where a number could stand that the fine position moves.

    A field begins and ends with a bit that moves, or with one that is always set: a bit that is always clear at either
    end changes no number by more than a constant factor.

    Args:
        seen: words and their segments.
        movement: of the bits.
    Returns:
        fields inside one segment with two or more bits that move inside ranges, in both orders of bits; of a fine
        position that stands for a word, the whole.
    Source:
        none: enumeration.
    """
    moving = set(movement.places(Moves.FINE, Moves.BOTH))
    edges = moving | set(movement.places(Moves.COARSE))
    edges |= {place for place, value in enumerate(movement.constant) if value}
    for segment in seen.segments:
        if not segment.latches:
            # A fine position in the place of a word: it is a number, and all of it is.
            yield CodeField(segment.start, segment.bits)
            continue
        inside = [place for place in range(segment.start, segment.start + segment.bits) if place in edges]
        for first in inside:
            for last in inside:
                field = CodeField(first, last - first + 1)
                if field.bits >= LEAST_BITS and sum(place in moving for place in field.places) >= LEAST_BITS:
                    yield field
                    yield CodeField(first, field.bits, least_first=True)
