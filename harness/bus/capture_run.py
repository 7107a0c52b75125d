"""One capture through the decoder, piece by piece; what was decoded before trouble is kept."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from harness.bus.feed import Feed
from harness.bus.findings import BusFinding, CaptureFacts, Weight, findings
from harness.bus.piece import Piece
from harness.bus.stream import BusStream
from harness.bus.timing import TimingLimits
from harness.bus.wiring import BusWiring
from harness.bus.word_table import NOTES, WordTable
from harness.errors import CaptureError, ExitCode
from harness.values import BusTiming, Capture, Decoding, LatchedWord, LineLevels

Sink = Callable[[WordTable], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoded:
    """All but the words, which went to the sink."""

    lines: tuple[str, ...]
    decoding: Decoding
    timing: BusTiming
    levels: tuple[LineLevels, ...]
    findings: tuple[BusFinding, ...]
    word_count: int
    frame: Capture | None
    """The events around the first sound word, times from the beginning of the capture."""
    frame_word: LatchedWord | None
    error: str
    """What stopped the reading; empty when the capture was read to its end."""
    exit_code: ExitCode


class DecodeRun:
    """A decoding in progress."""

    def __init__(self, wiring: BusWiring, limits: TimingLimits, sink: Sink) -> None:
        self._wiring, self._limits, self._sink = wiring, limits, sink
        self._streams: list[BusStream] = []
        self._notes = np.zeros(len(NOTES), dtype=np.int64)
        self._words = 0
        self._first: LatchedWord | None = None
        self._frame: Capture | None = None
        self._frame_word: LatchedWord | None = None
        self._before: tuple[Piece, int] | None = None
        self._pairs: tuple[deque[tuple[int, ...]], deque[tuple[int, ...]]] = (deque(), deque())
        self._marginal = 0

    def run(self, feed: Feed) -> Decoded:
        """Decode to the end, or to what cannot be read.

        Args:
            feed: nothing taken of it yet.
        Returns:
            all but the words; its exit code is 0 when all is sound, 2 when the feed could not be read to its end, 3
            when the capture is incomplete or marginal.
        Raises:
            CaptureError: nothing at all could be read.
        Source:
            see `decode` and `findings`.
        """
        error, code = "", ExitCode.PASS
        pieces = feed.pieces()
        while True:
            try:
                piece = next(pieces, None)
            except CaptureError as trouble:
                if not self._streams:
                    raise
                error, code = str(trouble), ExitCode.USAGE
                break
            if piece is None:
                break
            try:
                self._take(feed, piece)
            except CaptureError as trouble:
                error, code = str(trouble), ExitCode.INVALID
                break
        for k, stream in enumerate(self._streams):
            self._words_of(k, stream.close(), feed, None)
        return self._result(feed, error, code)

    def _take(self, feed: Feed, pieces: tuple[Piece, ...]) -> None:
        if not self._streams:
            self._streams = [
                BusStream(
                    self._wiring, initial=initial, lines=feed.lines, tick_ns=feed.tick_ns, limits=self._limits,
                    history_known=False,
                )
                for initial in feed.initials
            ]  # fmt: skip
        for k, (stream, piece) in enumerate(zip(self._streams, pieces, strict=True)):
            self._words_of(k, stream.feed(piece), feed, piece)
        last = int(pieces[0].levels[-1]) if pieces[0].levels.size else None
        if last is not None:
            self._before = pieces[0], last

    def _words_of(self, k: int, table: WordTable, feed: Feed, piece: Piece | None) -> None:
        if k == 0:
            if len(table):
                self._notes += np.bincount(table.notes, minlength=len(NOTES))
                if self._first is None:
                    self._first = next(table.words())
                self._words += len(table)
                self._keep_frame(table, feed, piece)
            self._sink(table)
            return
        rows = zip(*(c.tolist() for c in (table.masks, table.values, table.known, table.since)), strict=True)
        self._pairs[k - 1].extend(rows)
        low, high = self._pairs
        while low and high:
            self._marginal += low.popleft() != high.popleft()

    def _keep_frame(self, table: WordTable, feed: Feed, piece: Piece | None) -> None:
        """The events of the first sound word, from its piece and the one before."""
        sound = (table.known & (table.notes == 0)).nonzero()[0]
        if self._frame is not None or sound.size == 0:
            return
        at = int(sound[0])
        word = next(row for k, row in enumerate(table.words()) if k == at)
        parts = [part for part in (self._before[0] if self._before else None, piece) if part is not None]
        ticks = np.concatenate([part.ticks for part in parts])
        levels = np.concatenate([part.levels for part in parts])
        clock = np.uint8(1 << feed.lines.index(self._wiring.clock))
        moved = np.flatnonzero((levels[1:] ^ levels[:-1]) & clock) + 1
        before = moved[ticks[moved] < table.ticks[at]][-2 * word.clocks_since :]
        if before.size == 0:
            return
        start = max(int(before[0]) - 4, 0)
        end = min(int(ticks.searchsorted(table.ticks[at], side="right")) + 3, ticks.size)
        self._frame_word = word
        self._frame = Capture(
            times_ns=np.rint(ticks[start:end] * feed.tick_ns).astype(np.int64),
            levels=levels[start:end].copy(),
            initial=int(levels[start - 1]) if start else feed.initials[0],
            lines=feed.lines,
        )

    def _result(self, feed: Feed, error: str, code: ExitCode) -> Decoded:
        if not self._streams:
            raise CaptureError("capture: it holds nothing; allowed is one event or sample or more")
        stream = self._streams[0]
        decoding = stream.decoding(complete=not feed.dropped and not error)
        timing = stream.timing()
        said = findings(decoding, timing, self._wiring, self._facts(feed, stream))
        if code is ExitCode.PASS and any(finding.weight is Weight.UNSOUND for finding in said):
            code = ExitCode.INVALID
        return Decoded(
            lines=feed.lines, decoding=decoding, timing=timing, levels=feed.levels(), findings=said,
            word_count=self._words, frame=self._frame, frame_word=self._frame_word, error=error, exit_code=code,
        )  # fmt: skip

    def _facts(self, feed: Feed, stream: BusStream) -> CaptureFacts:
        quiet = 0 if stream.last_clock is None else stream.known_to - stream.last_clock
        marginal = self._marginal + abs(len(self._pairs[0]) - len(self._pairs[1]))
        lines: tuple[str, ...] = ()
        if len(self._streams) == 3:
            low, high = (_crossings(other.timing()) for other in self._streams[1:])
            lines = tuple(line for line in low if low[line] != high[line])
        return CaptureFacts(
            sample_ns=feed.sample_ns,
            dropped=feed.dropped,
            quiet_ns=quiet * stream.tick_ns,
            first=self._first,
            note_counts=tuple((NOTES[k], int(n)) for k, n in enumerate(self._notes.tolist()) if k and n),
            marginal_words=marginal,
            marginal_lines=lines,
            levels=feed.levels(),
        )


def _crossings(timing: BusTiming) -> dict[str, int]:
    """Changes of each line with those of its glitches: how short a pulse seems depends on the threshold."""
    glitches = dict(timing.glitches)
    return {line: edges + 2 * glitches[line] for line, edges in timing.edges}
