"""Levels that are not known: they keep the level before, and invent no edge at the beginning."""

from __future__ import annotations

import numpy as np

from harness.bus.piece import Levels


class KnownLevels:
    """What must be remembered of unknown levels from one piece to the next.

    An unknown level keeps the last known one, so that it makes no edge. Clock and latches are taken to stand at their
    first known level from the beginning, as far as the first piece shows it; for data only the level is taken, the mark
    stays.
    """

    def __init__(self, lines: int, data: int | None) -> None:
        self._lines, self._data = lines, data
        self._ever = 0
        self._last = 0
        self._first = True
        self.initial = 0
        """Levels before the first event, once something was taken."""

    def take(self, levels: Levels, unknown: Levels) -> tuple[Levels, Levels | None]:
        """Levels in which every line has one.

        Args:
            levels: shape (n,), bit k is line k; of no meaning where unknown.
            unknown: shape (n,), bit k set where the level is not known.
        Returns:
            levels, shape (n,), and where they are still not known, None when they all are.
        Source:
            none: bookkeeping.
        """
        if levels.size == 0:
            return levels, None
        if not unknown.any():
            self._ever, self._last = 0xFF, int(levels[-1])
            self._settle(int(levels[0]))
            return levels, None
        levels, unknown = levels.copy(), unknown.copy()
        for k in range(self._lines):
            self._mend(k, levels, unknown)
        self._last = int(levels[-1])
        self._settle(int(levels[0]))
        return levels, unknown if unknown.any() else None

    def _mend(self, k: int, levels: Levels, unknown: Levels) -> None:
        bit = np.uint8(1 << k)
        known = (unknown & bit) == 0
        high = (levels & bit) != 0
        at = known.nonzero()[0]
        before = bool(self._last & int(bit))
        if self._first and at.size:
            before = bool(high[at[0]])
            if k != self._data:
                unknown[: at[0]] &= ~bit
        newest = np.maximum.accumulate(np.where(known, np.arange(known.size), -1))
        filled = np.where(newest >= 0, high[newest], before)
        levels &= ~bit
        levels |= np.where(filled, bit, np.uint8(0))

    def _settle(self, levels: int) -> None:
        if self._first:
            self.initial, self._first = levels, False
