"""What every form of capture becomes: pieces, and what must be known about them."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterator
from typing import Protocol

import numpy as np

from harness.bus.piece import Piece
from harness.errors import CaptureError
from harness.values import Capture, LineLevels

MOST_EVENTS = 2_000_000
"""More traffic than this says nothing new about the roles of lines."""


class Feed(Protocol):
    """A capture as pieces. Initial levels, lines and the rest hold once the first piece came."""

    lines: tuple[str, ...]
    initials: tuple[int, ...]
    """Levels before the first event; for volts: of the deciding decoding, of the one at V_IL, of the one at V_IH."""
    tick_ns: float
    sample_ns: float | None
    """Distance of samples; None where times are exact."""
    dropped: int

    @abstractmethod
    def pieces(self) -> Iterator[tuple[Piece, ...]]:
        """Pieces, one for each entry of `initials`.

        Returns:
            tuples of one piece, or of three for volts.
        Source:
            none: reading.
        """

    def levels(self) -> tuple[LineLevels, ...]:
        """What the voltages were.

        Returns:
            one entry a line; empty for logic.
        Source:
            none: reading.
        """
        return ()


def beginning(feed: Feed) -> Capture:
    """The first events of a capture, in memory: enough to find the roles of its lines.

    Args:
        feed: nothing taken of it yet.
    Returns:
        at most about two million events, times in whole ns from the first one.
    Raises:
        CaptureError: there is nothing in it.
    Source:
        none: reading.
    """
    pieces: list[Piece] = []
    for parts in feed.pieces():
        pieces.append(parts[0])
        if sum(piece.ticks.size for piece in pieces) >= MOST_EVENTS:
            break
    if not pieces:
        raise CaptureError("capture: it holds nothing; allowed is one event or sample or more")
    ticks = np.concatenate([piece.ticks for piece in pieces])
    unknown = np.concatenate([np.zeros_like(p.levels) if p.unknown is None else p.unknown for p in pieces])
    return Capture(
        times_ns=np.rint((ticks - ticks[:1]) * feed.tick_ns).astype(np.int64),
        levels=np.concatenate([piece.levels for piece in pieces]),
        initial=feed.initials[0],
        lines=feed.lines,
        unknown=unknown if unknown.any() else None,
    )
