"""Words as columns, one row for each latch instant and word length: fast to make, small to keep."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.values import LatchedWord

NOTES = ("", "re-latch", "short-frame", "unknown-level", "long-frame", "broadcast", "unknown-history")
SOUND, RE_LATCH, SHORT, UNKNOWN_LEVEL, LONG, BROADCAST, UNKNOWN_HISTORY = range(len(NOTES))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WordTable:
    """Rows in order of time; all arrays have shape (n,)."""

    ticks: npt.NDArray[np.int64]
    masks: npt.NDArray[np.uint8]
    """Bit k is latch k of `latches`."""
    bits: npt.NDArray[np.int64]
    positions: npt.NDArray[np.int64]
    """Place in the daisy chain, 0 with a latch of its own."""
    values: npt.NDArray[np.uint64]
    """Meaningless where `known` is False."""
    known: npt.NDArray[np.bool_]
    since: npt.NDArray[np.int64]
    """Active clock edges since the latch before."""
    notes: npt.NDArray[np.uint8]
    """Places in NOTES."""
    latches: tuple[str, ...]
    tick_ns: float

    def __len__(self) -> int:
        return int(self.ticks.size)

    def words(self) -> Iterator[LatchedWord]:
        """The rows one by one.

        Returns:
            words in order of time.
        Source:
            none: the same content.
        """
        columns = (self.ticks, self.masks, self.bits, self.positions, self.values, self.known, self.since, self.notes)
        rows = zip(*(column.tolist() for column in columns), strict=True)
        names = {mask: self._names(mask) for mask in set(self.masks.tolist())}
        for tick, mask, bits, position, value, known, since, note in rows:
            yield LatchedWord(
                time_ns=round(tick * self.tick_ns),
                latches=names[mask],
                bits=bits,
                value=value if known else None,
                clocks_since=since,
                note=NOTES[note],
                position=position,
            )

    def _names(self, mask: int) -> tuple[str, ...]:
        return tuple(name for k, name in enumerate(self.latches) if mask >> k & 1)
