"""A capture that comes in pieces: words at once, distances and counts at the end, in bounded memory."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from harness.bus.clock_meters import ClockMeters
from harness.bus.frames import NOT_KNOWN, Bits, FrameReader
from harness.bus.latch_meters import LatchMeters
from harness.bus.line_filter import LineFilter
from harness.bus.piece import EARLIEST, NO_LEVELS, NO_TICKS, Levels, Piece, Ticks
from harness.bus.timing import Meter, TimingLimits, timing_of
from harness.bus.wiring import BusWiring
from harness.bus.word_table import WordTable
from harness.errors import CaptureError
from harness.values import BusTiming, Decoding, LatchedWord

NO_LIMITS = TimingLimits()


class BusStream:
    """Takes pieces, gives words; the rules are those of `decode`."""

    def __init__(
        self,
        bus: BusWiring,
        *,
        initial: int,
        lines: tuple[str, ...] | None = None,
        tick_ns: float = 1.0,
        limits: TimingLimits = NO_LIMITS,
        history_known: bool = True,
    ) -> None:
        lines = bus.lines if lines is None else lines
        bit = {name: np.uint8(1 << lines.index(name)) for name in bus.roles}
        self.bus, self.tick_ns = bus, tick_ns
        self._data, self._clock = bit[bus.data], bit[bus.clock]
        self._latches = tuple(bit[name] for name in bus.latches)
        self._any_latch = np.bitwise_or.reduce(np.array(self._latches, dtype=np.uint8))
        self._least = max(math.ceil(bus.minimum_pulse_ns / tick_ns - 1e-9), 1)
        self._filters = {name: LineFilter(bool(initial & int(bit[name]))) for name in bus.roles}
        self._raw = initial & 0xFF
        self._doubtful = 0
        self._carried = Piece(ticks=NO_TICKS, levels=NO_LEVELS, known_to=EARLIEST)
        self.frames = FrameReader(bus, tick_ns, history_known)
        self.clock_meters = ClockMeters(tick_ns, limits)
        self.latch_meters = LatchMeters(bus, tick_ns, limits, initial={n: bool(initial & int(bit[n])) for n in bit})
        self.known_to = EARLIEST
        self.last_clock: int | None = None

    def feed(self, piece: Piece) -> WordTable:
        """The words of a further piece; the last moments of it wait for the next one.

        Args:
            piece: follows the piece before without overlap.
        Returns:
            rows in order of time.
        Raises:
            CaptureError: time runs backwards, or clock or a latch is unknown.
        Source:
            see `decode`.
        """
        self._check(piece)
        joined = _joined(self._carried, piece)
        self.known_to = joined.known_to
        return self._take(joined, joined.known_to - self._least)

    def only(self, piece: Piece) -> WordTable:
        """The words of a piece that no other follows; as feed and close, at half the cost.

        Args:
            piece: all there is.
        Returns:
            rows in order of time.
        Raises:
            CaptureError: as feed.
        Source:
            see `decode`.
        """
        self._check(piece)
        self.known_to = piece.known_to
        table = self._take(piece, piece.known_to)
        self.latch_meters.close()
        return table

    def close(self) -> WordTable:
        """The words of the last moments; afterwards nothing may be fed.

        Returns:
            rows in order of time.
        Source:
            see `decode`.
        """
        table = self._take(self._carried, self._carried.known_to)
        self.latch_meters.close()
        return table

    def decoding(self, words: tuple[LatchedWord, ...] = (), *, complete: bool = True) -> Decoding:
        """All counts so far beside some words.

        Args:
            words: those to put beside the counts.
            complete: whether every event came.
        Returns:
            the decoding.
        Source:
            see `decode`.
        """
        return Decoding(
            words=words,
            unlatched_bits=self.frames.clocks - self.frames.clocked,
            clock_edges=self.frames.clocks,
            idle_data_edges=self.clock_meters.data_edges - self.clock_meters.sampled_data_edges,
            complete=complete,
            glitches=sum(line.glitches for line in self._filters.values()),
            clocks_under_latch=self.latch_meters.clocks_under_latch,
            rewrites=self.frames.rewrites,
        )

    @property
    def meters(self) -> dict[str, Meter]:
        """Every distance so far by its name, the clock's period among them."""
        return self.clock_meters.meters | self.latch_meters.meters

    @property
    def glitches(self) -> dict[str, int]:
        """Pulses that were too short, by line."""
        return {name: line.glitches for name, line in self._filters.items()}

    @property
    def edges(self) -> dict[str, int]:
        """Changes that last, by line."""
        return {name: line.kept for name, line in self._filters.items()}

    def timing(self) -> BusTiming:
        """All distances so far.

        Returns:
            the timing.
        Source:
            see `BusDistance` and `error_bound_ratio`.
        """
        return timing_of(
            tuple(meter.result() for meter in self.meters.values()),
            glitches=self.glitches,
            edges=self.edges,
            tick_ns=self.tick_ns,
            sound=self.frames.sound,
            unsound=self.frames.unsound,
        )

    def _check(self, piece: Piece) -> None:
        ticks = piece.ticks
        first = self._carried.known_to if ticks.size == 0 else int(ticks[0])
        if ticks.size and (first < self.known_to or (not piece.distinct and bool((ticks[1:] < ticks[:-1]).any()))):
            steps = np.diff(ticks, prepend=max(self.known_to, int(ticks.min())))
            at = int((steps < 0).argmax())
            raise CaptureError(
                f"capture: time runs backwards to {round(int(ticks[at]) * self.tick_ns)} ns, by "
                f"{round(-int(steps[at]) * self.tick_ns)} ns; allowed are times that never decrease"
            )
        if piece.unknown is None or not piece.unknown.any():
            return
        for name in self.bus.roles[1:]:
            bit = self._clock if name == self.bus.clock else self._latches[self.bus.latches.index(name)]
            doubtful = np.flatnonzero(piece.unknown & bit)
            if doubtful.size:
                raise CaptureError(
                    f"capture: line {name} is unknown at {round(int(ticks[doubtful[0]]) * self.tick_ns)} ns; only data "
                    "may be: without clock and latches there are no words; look at its threshold and its probe"
                )

    def _take(self, piece: Piece, cut: int) -> WordTable:
        ticks, levels = piece.ticks, piece.levels
        before = np.empty_like(levels)
        before[:1], before[1:] = self._raw, levels[:-1]
        changed = levels ^ before
        clock_at, clock_first = self._kept(self.bus.clock, self._clock, piece, changed, cut)
        taken_out = self._filters[self.bus.data].seen - self._filters[self.bus.data].kept
        data_at, data_first = self._kept(self.bus.data, self._data, piece, changed, cut)
        taken_out -= self._filters[self.bus.data].seen - self._filters[self.bus.data].kept
        clock_ticks, data_ticks = ticks[clock_at], ticks[data_at]
        active = slice(int(clock_first == self.bus.clock_rising), None, 2)
        clocks = clock_ticks[active]
        # Without pulses taken out and with one event a tick, the level before the event is the lasting one.
        if piece.distinct and taken_out == 0 and data_first == bool(self._raw & int(self._data)):
            bits = (before[clock_at[active]] & self._data != 0).view(np.uint8)
        else:
            bits = ((data_ticks.searchsorted(clocks) % 2 == 1) != data_first).view(np.uint8)
        self._spoil(bits, clocks, piece)
        latch_edges = self._latch_edges(piece, changed, cut)
        if piece.distinct:
            # One pass over the events instead of a search for each data edge.
            marks = np.zeros(ticks.size, dtype=np.bool_)
            marks[clock_at[active]] = True
            following = marks.cumsum(dtype=np.int64)[data_at]
        else:
            following = clocks.searchsorted(data_ticks, side="right")
        self.clock_meters.take(clock_ticks, clocks, data_ticks, following, first_high=clock_first)
        instants, masks, upto = self.latch_meters.take(latch_edges, clocks, cut)
        if clocks.size:
            self.last_clock = int(clocks[-1])
        self._carry(piece, cut)
        return self.frames.take(bits, instants, masks, upto)

    def _kept(
        self, name: str, bit: np.uint8, piece: Piece, changed: Levels, cut: int
    ) -> tuple[npt.NDArray[np.intp], bool]:
        """Places of the changes for good of a line, and its level before them."""
        line = self._filters[name]
        before = line.high
        at = (changed & bit != 0).nonzero()[0]
        kept = line.take(piece.ticks[at], raw_high=bool(self._raw & int(bit)), least=self._least, cut=cut)
        return at[kept], before

    def _spoil(self, bits: Bits, clocks: Ticks, piece: Piece) -> None:
        """Mark the bits whose data was unknown just before the clock edge."""
        if piece.unknown is None and not self._doubtful:
            return
        doubtful = np.zeros(piece.ticks.size, dtype=np.uint8) if piece.unknown is None else piece.unknown
        doubtful = np.append(np.uint8(self._doubtful), doubtful)
        bits[doubtful[piece.ticks.searchsorted(clocks)] & self._data != 0] = NOT_KNOWN

    def _latch_edges(self, piece: Piece, changed: Levels, cut: int) -> dict[str, Ticks]:
        """Ticks of the changes for good of each latch; latches are quiet most of the time."""
        places = (changed & self._any_latch != 0).nonzero()[0]
        ticks, changed = piece.ticks[places], changed[places]
        edges = {}
        for name, bit in zip(self.bus.latches, self._latches, strict=True):
            mine = ticks[(changed & bit) != 0]
            raw_high = bool(self._raw & int(bit))
            edges[name] = mine[self._filters[name].take(mine, raw_high=raw_high, least=self._least, cut=cut)]
        return edges

    def _carry(self, piece: Piece, cut: int) -> None:
        ticks = piece.ticks
        upto = ticks.size if ticks.size == 0 or ticks[-1] <= cut else int(ticks.searchsorted(cut, side="right"))
        if upto:
            self._raw = int(piece.levels[upto - 1])
            self._doubtful = 0 if piece.unknown is None else int(piece.unknown[upto - 1])
        unknown = None if piece.unknown is None else piece.unknown[upto:]
        self._carried = Piece(
            ticks=ticks[upto:], levels=piece.levels[upto:], known_to=piece.known_to, unknown=unknown,
            distinct=piece.distinct,
        )  # fmt: skip


def _joined(first: Piece, then: Piece) -> Piece:
    """Two pieces as one."""
    if first.ticks.size == 0:
        return then
    unknown = None
    if first.unknown is not None or then.unknown is not None:
        unknown = np.concatenate(
            [np.zeros(p.ticks.size, dtype=np.uint8) if p.unknown is None else p.unknown for p in (first, then)]
        )
    return Piece(
        ticks=np.concatenate((first.ticks, then.ticks)),
        levels=np.concatenate((first.levels, then.levels)),
        known_to=max(first.known_to, then.known_to),
        unknown=unknown,
        distinct=first.distinct and then.distinct and (then.ticks.size == 0 or first.ticks[-1] < then.ticks[0]),
    )
