"""Latch instants and clocked bits to rows of words, over the borders of pieces."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from harness.bus.piece import NO_LEVELS, NO_TICKS, Ticks
from harness.bus.wiring import BusWiring
from harness.bus.word_table import BROADCAST, LONG, RE_LATCH, SHORT, SOUND, UNKNOWN_HISTORY, UNKNOWN_LEVEL, WordTable

Bits = npt.NDArray[np.uint8]
Counts = npt.NDArray[np.int64]

NOT_KNOWN = 2
"""A bit that is neither 0 nor 1."""
NO_VALUES: npt.NDArray[np.uint64] = np.zeros(0, dtype=np.uint64)
NO_MARKS: npt.NDArray[np.bool_] = np.zeros(0, dtype=np.bool_)


@dataclass(frozen=True, slots=True)
class _Part:
    """A word under one or more latches of the same build: its length and where it stands in the frame."""

    latch_mask: int
    frame_bits: int
    bits: int
    offset: int
    """Bits of the frame that follow it."""
    position: int


@lru_cache(maxsize=64)
def _parts(bus: BusWiring) -> tuple[_Part, ...]:
    """Latches of equal build together, shorter frames first, in a chain the device that is farthest first."""
    masks: dict[tuple[int, ...], int] = {}
    for k, latch in enumerate(bus.latches):
        chain = bus.chain(latch)
        masks[chain] = masks.get(chain, 0) | 1 << k
    parts = []
    for chain in sorted(masks, key=lambda bits: (sum(bits), len(bits), bits)):
        for position in reversed(range(len(chain))):
            parts.append(_Part(masks[chain], sum(chain), chain[position], sum(chain[:position]), position))
    return tuple(parts)


@dataclass(slots=True)
class FrameReader:
    """The shared shift register, and what was latched out of it."""

    bus: BusWiring
    tick_ns: float
    history_known: bool = True
    """False when clocks before the capture may belong to its first frame: of another length, that one is marked."""
    clocks: int = 0
    """Active clock edges so far."""
    clocked: int = 0
    """Of these, before the last latch."""
    rewrites: int = 0
    sound: int = 0
    """Rows with a word and no objection."""
    unsound: int = 0
    _loaded: int = 0
    _first: bool = True
    _parts: tuple[_Part, ...] = ()
    _tail: Bits = field(default_factory=lambda: np.zeros(0, dtype=np.uint8))
    _held: dict[tuple[int, int], int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._parts = _parts(self.bus)

    def take(self, bits: Bits, instants: Ticks, masks: Bits, upto: Ticks) -> WordTable:
        """The words of a stretch.

        Args:
            bits: shape (k,), data before each active clock edge: 0, 1 or 2 for not known.
            instants: shape (j,), ticks at which latches fired, increasing.
            masks: shape (j,), which latches, bit by place in `bus.latches`.
            upto: shape (j,), how many of these clock edges come before each instant.
        Returns:
            rows in order of time.
        Source:
            common practice for three-wire buses; see `decode`.
        """
        longest = max(part.frame_bits for part in self._parts)
        register = np.concatenate((self._tail, bits))
        origin = self.clocks - self._tail.size
        upto = upto + self.clocks
        self.clocks += bits.size
        self._tail = register[max(0, register.size - longest) :]
        if instants.size == 0:
            return self._table(NO_TICKS, masks, [], NO_TICKS)
        since = np.diff(upto, prepend=self.clocked)
        # The frame that stands in the register: after a latch without clocks, an earlier one.
        newest = np.maximum.accumulate(np.where(since > 0, np.arange(since.size), -1))
        loaded = np.where(newest >= 0, since[newest], self._loaded)
        self.clocked, self._loaded = int(upto[-1]), int(loaded[-1])
        rows = [self._rows(part, register, upto - origin, since, loaded, masks) for part in self._parts]
        table = self._table(instants, masks, rows, since)
        self._first = False
        self._count(table)
        return table

    def _rows(
        self, part: _Part, register: Bits, upto: Counts, since: Counts, loaded: Counts, masks: Bits
    ) -> tuple[Counts, npt.NDArray[np.uint64], npt.NDArray[np.bool_], Bits]:
        """Instants at which a part was latched; its values, whether they are known, and notes."""
        at = (masks & np.uint8(part.latch_mask)).nonzero()[0]
        ends = upto[at] - part.offset
        values = np.zeros(at.size, dtype=np.uint64)
        doubtful = np.zeros(at.size, dtype=np.uint8)
        for back in range(part.bits, 0, -1):
            bit = register.take(ends - back, mode="clip") if register.size else np.zeros(at.size, dtype=np.uint8)
            doubtful |= bit
            values = values << np.uint64(1) | (bit & 1).astype(np.uint64)
        count = since[at]
        known = (loaded[at] >= part.frame_bits) & (doubtful < NOT_KNOWN)
        several = (masks[at] & (masks[at] - np.uint8(1))) != 0
        notes = np.where(several, np.uint8(BROADCAST), np.uint8(SOUND))
        notes[count > part.frame_bits] = LONG
        notes[~known] = UNKNOWN_LEVEL
        notes[count < part.frame_bits] = SHORT
        notes[count == 0] = RE_LATCH
        known &= (count == 0) | (count >= part.frame_bits)
        if self._first and not self.history_known:
            notes[(at == 0) & (count != part.frame_bits)] = UNKNOWN_HISTORY
        return at, values, known, notes

    def _table(
        self,
        instants: Ticks,
        masks: Bits,
        rows: list[tuple[Counts, npt.NDArray[np.uint64], npt.NDArray[np.bool_], Bits]],
        since: Counts,
    ) -> WordTable:
        places = [row[0] for row in rows]
        at = np.concatenate(places) if rows else NO_TICKS
        order = at.argsort(kind="stable")
        part = np.repeat(np.arange(len(rows)), [place.size for place in places])[order] if rows else NO_TICKS
        at = at[order]
        lengths, positions, latch_masks = (
            np.array(column, dtype=np.int64)
            for column in zip(*((p.bits, p.position, p.latch_mask) for p in self._parts), strict=True)
        )
        return WordTable(
            ticks=instants[at],
            masks=masks[at] & latch_masks[part].astype(np.uint8),
            bits=lengths[part],
            positions=positions[part],
            values=np.concatenate([NO_VALUES, *(row[1] for row in rows)])[order],
            known=np.concatenate([NO_MARKS, *(row[2] for row in rows)])[order],
            since=since[at],
            notes=np.concatenate([NO_LEVELS, *(row[3] for row in rows)])[order],
            latches=self.bus.latches,
            tick_ns=self.tick_ns,
        )

    def _count(self, table: WordTable) -> None:
        """Sound rows, and words that a device had already."""
        sound = table.known & (table.notes == SOUND)
        if self.bus.broadcast_allowed:
            sound |= table.known & (table.notes == BROADCAST)
        self.sound += int(np.count_nonzero(sound))
        self.unsound += int(np.count_nonzero(~sound & (table.notes != UNKNOWN_HISTORY)))
        for k, latch in enumerate(self.bus.latches):
            for position in range(len(self.bus.chain(latch))):
                mine = ((table.masks >> np.uint8(k) & 1) != 0) & (table.positions == position) & table.known
                values = table.values[mine]
                if values.size == 0:
                    continue
                self.rewrites += int(np.count_nonzero(values[1:] == values[:-1]))
                self.rewrites += self._held.get((k, position)) == int(values[0])
                self._held[(k, position)] = int(values[-1])
