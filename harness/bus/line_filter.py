"""One line of a stream: its changes for good, glitches taken out, over the borders of pieces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.bus.piece import Ticks

Places = npt.NDArray[np.intp]


@dataclass(slots=True)
class LineFilter:
    """What must be remembered of a line from one piece to the next."""

    high: bool
    """Lasting level after everything taken so far."""
    seen: int = 0
    """Changes taken so far, glitches included."""
    kept: int = 0
    """Changes for good taken so far."""

    @property
    def glitches(self) -> int:
        """Pulses taken out so far."""
        return (self.seen - self.kept) // 2

    def take(self, ticks: Ticks, *, raw_high: bool, least: int, cut: int) -> Places | slice:
        """Which changes up to a cut are for good.

        A level counts when it lasts at least `least` ticks; the change stands where the lasting level begins. The last
        change counts, however short: what follows it up to the cut is known to last.

        Args:
            ticks: shape (n,), the changes of this line, some perhaps after the cut: they end pulses before it.
            raw_high: level before the first of them.
            least: shortest lasting level, ticks, >= 1.
            cut: last tick to decide.
        Returns:
            index into `ticks` of the changes for good up to the cut, shape (k,) when applied; they are then taken.
        Source:
            common practice for three-wire buses: pulses below the least pulse do not count, but are reported.
        """
        upto = ticks.size if ticks.size and ticks[-1] <= cut else int(ticks.searchsorted(cut, side="right"))
        if upto == 0:
            return slice(0)
        long = ticks[1:] - ticks[:-1] >= least
        if self.high == raw_high and bool(long.all()):
            self.seen += upto
            self.kept += upto
            self.high ^= bool(upto % 2)
            return slice(upto)
        begins = np.append(long, True)[:upto].nonzero()[0]
        after = (begins % 2 == 0) != raw_high
        kept: Places = begins[after != np.append(self.high, after[:-1])]
        self.seen += upto
        self.kept += kept.size
        self.high ^= bool(kept.size % 2)
        return kept
