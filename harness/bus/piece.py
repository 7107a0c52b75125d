"""A piece of a capture: the events of a stretch of time, in whole ticks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Ticks = npt.NDArray[np.int64]
Levels = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """Events in order of time; pieces of one capture follow each other without overlap."""

    ticks: Ticks
    """Shape (n,), never decreasing, also over the border to the piece before."""
    levels: Levels
    """Shape (n,), bit k is the level of line k after the event."""
    known_to: int
    """The lines are known up to this tick, the last event or later: nothing else changed until then."""
    unknown: Levels | None = None
    """Shape (n,), bit k set where the level of line k is not known after the event; None when all are."""
    distinct: bool = False
    """Whether all ticks of the piece are known to differ."""


NO_TICKS: Ticks = np.zeros(0, dtype=np.int64)
NO_LEVELS: Levels = np.zeros(0, dtype=np.uint8)
EARLIEST = -(2**62)
"""A tick before all others; captures of an oscilloscope begin before zero."""
