"""Which bit moves with the fine position, which with the range, which never."""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np

from harness.learn.explain.observed import Seen


class Moves(enum.StrEnum):
    """With what a bit of the word moves."""

    FINE = "fine"
    """Inside ranges, and the same way in all of them."""
    COARSE = "coarse"
    """Between ranges only."""
    BOTH = "both"
    NEVER = "never"


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """How the bits move, by place on the wire."""

    bits: tuple[Moves, ...]
    constant: tuple[int, ...]
    """Value of each bit that never moves; 0 for the others."""
    still: tuple[tuple[int, int], ...]
    """Pairs of rows, neighbours in fine position, whose word is the same."""

    def places(self, *moves: Moves) -> tuple[int, ...]:
        """Places of the bits that move in one of these ways."""
        return tuple(place for place, how in enumerate(self.bits) if how in moves)


def movement_of(seen: Seen) -> Movement:
    """How each bit of the word moves over the settings.

    Args:
        seen: words of all settings.
    Returns:
        one answer for each bit.
    Source:
        common practice, no source: move one control at a time and look which bits follow.
    """
    channels, coarse, fine = seen.channels, seen.coarse, seen.fine
    inside = np.zeros(seen.bits.shape[1], dtype=bool)
    across = np.zeros(seen.bits.shape[1], dtype=bool)
    for channel in np.unique(channels):
        for index in np.unique(coarse):
            inside |= _moves(seen.bits[(channels == channel) & (coarse == index)])
        for index in np.unique(fine):
            across |= _moves(seen.bits[(channels == channel) & (fine == index)])
    kinds = {(False, False): Moves.NEVER, (True, False): Moves.FINE, (False, True): Moves.COARSE}
    bits = tuple(kinds.get((bool(a), bool(b)), Moves.BOTH) for a, b in zip(inside, across, strict=True))
    constant = tuple(
        int(seen.bits[0, place]) if how is Moves.NEVER else 0 for place, how in enumerate(bits)
    )
    return Movement(bits=bits, constant=constant, still=_still(seen))


def _moves(rows: np.ndarray[tuple[int, ...], np.dtype[np.uint8]]) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    return np.asarray(rows.max(axis=0) != rows.min(axis=0)) if rows.size else np.zeros(rows.shape[1], dtype=bool)


def _still(seen: Seen) -> tuple[tuple[int, int], ...]:
    if seen.bits.shape[1] == 0:
        return ()
    words = seen.words()
    return tuple(
        (row, row + 1)
        for row in range(len(words) - 1)
        if words[row] == words[row + 1]
        and (seen.settings[row].channel, seen.settings[row].coarse)
        == (seen.settings[row + 1].channel, seen.settings[row + 1].coarse)
    )
