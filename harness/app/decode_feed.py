"""Capture files, read in chunks: packed samples, CSV, VCD, adapter blocks."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Protocol, cast

import numpy as np

from harness.bus import Piece, Thresholds
from harness.bus.analog import LevelMeter, comparators
from harness.bus.block import read_block
from harness.bus.csv_reader import CsvReader, require_rows
from harness.bus.dump import ByteStream, VcdReader
from harness.bus.known_levels import KnownLevels
from harness.bus.packed import PackedReader
from harness.bus.piece import Ticks
from harness.bus.table_text import LONGEST_LINE, Table, parse_error
from harness.bus.thresholds import LevelSurvey
from harness.errors import CaptureError, UsageError
from harness.values import LineLevels

SAMPLES_A_CHUNK = 1 << 23
TEXT_A_CHUNK = 1 << 21
LARGEST_BLOCK = 1 << 28
FORMATS = {".bin": "packed", ".raw": "packed", ".csv": "csv", ".vcd": "vcd", ".glc": "block"}


class Feed(Protocol):
    """A capture as pieces. Initial levels, lines and the rest hold once the first piece came."""

    lines: tuple[str, ...]
    initials: tuple[int, ...]
    """Levels before the first event; for volts: of the deciding decoding, of the one at V_IL, of the one at V_IH."""
    tick_ns: float
    sample_ns: float | None
    dropped: int

    @abstractmethod
    def pieces(self) -> Iterator[tuple[Piece, ...]]:
        """Pieces, one for each entry of `initials`."""

    def levels(self) -> tuple[LineLevels, ...]:
        """Voltages; empty for logic."""
        return ()


class PackedFeed(Feed):
    """One byte a sample, bit k is line k."""

    def __init__(self, file: BinaryIO, lines: tuple[str, ...], rate_hz: float) -> None:
        self._file, self.lines = file, lines
        self._reader = PackedReader(rate_hz)
        self.tick_ns = self.sample_ns = self._reader.tick_ns
        self.initials, self.dropped = (0,), 0

    def pieces(self) -> Iterator[tuple[Piece, ...]]:
        """Chunks of 8 million samples."""
        while True:
            samples = np.frombuffer(self._file.read(SAMPLES_A_CHUNK), dtype=np.uint8)
            if samples.size == 0:
                break
            piece = self._reader.take(samples)
            self.initials = (self._reader.initial or 0,)
            yield (piece,)
        if self._reader.samples == 0:
            raise CaptureError("packed samples: the file is empty; allowed is one byte a sample")


class VcdFeed(Feed):
    """A value change dump."""

    def __init__(self, file: BinaryIO, lines: tuple[str, ...] | None, data: str | None) -> None:
        self._reader = VcdReader(cast(ByteStream, file), lines=lines, data=data)
        self.tick_ns, self.sample_ns, self.dropped = 1.0, None, 0
        self.lines, self.initials = lines or (), (0,)

    def pieces(self) -> Iterator[tuple[Piece, ...]]:
        """Pieces of 65536 events."""
        for piece in self._reader.pieces():
            self.lines, self.initials = self._reader.lines, (self._reader.initial,)
            yield (piece,)


class BlockFeed(Feed):
    """The adapter's answer, which fits into memory: the adapter held it too."""

    def __init__(self, file: BinaryIO, lines: tuple[str, ...]) -> None:
        self._file, self.lines = file, lines
        self.tick_ns, self.sample_ns, self.dropped, self.initials = 1.0, None, 0, (0,)

    def pieces(self) -> Iterator[tuple[Piece, ...]]:
        """One piece."""
        content = self._file.read(LARGEST_BLOCK + 1)
        if len(content) > LARGEST_BLOCK:
            raise CaptureError(f"adapter block: more than {LARGEST_BLOCK} bytes; allowed is what an adapter can hold")
        capture = read_block(content, self.lines)
        self.initials, self.dropped = (capture.initial,), capture.dropped
        known_to = int(capture.times_ns.max()) if capture.times_ns.size else 0
        yield (Piece(ticks=capture.times_ns, levels=capture.levels, known_to=known_to),)


class CsvFeed(Feed):
    """Rows of levels, of voltages, or of single changes."""

    def __init__(
        self, path: Path, lines: tuple[str, ...] | None, data: str | None, thresholds: Thresholds | None
    ) -> None:
        self._path, self._wanted, self._data, self._thresholds = path, lines, data, thresholds
        self.tick_ns, self.dropped = 1.0, 0
        self.sample_ns: float | None = None
        self.lines: tuple[str, ...] = lines or ()
        self.initials: tuple[int, ...] = (0,)
        self._meter: LevelMeter | None = None

    def pieces(self) -> Iterator[tuple[Piece, ...]]:
        """Pieces of some ten thousand rows."""
        reader = CsvReader(self._wanted)
        with self._path.open("rb") as file:
            for lines in text_chunks(file):
                times_ns, cells = reader.take(lines)
                if not times_ns.size:
                    continue
                if not self.lines or reader.rows == times_ns.size:
                    self._begin(reader, times_ns)
                yield self._volts(times_ns, cells) if reader.kind == "volts" else self._logic(times_ns, cells, reader)
        require_rows(reader)

    def _begin(self, reader: CsvReader, times_ns: Ticks) -> None:
        self.lines = reader.lines
        gaps_ns = np.diff(times_ns)
        # Rows at equal distances are samples; others are events with times of their own.
        if gaps_ns.size > 8 and gaps_ns.max() - gaps_ns.min() <= max(2.0, 0.01 * float(gaps_ns.mean())):
            self.sample_ns = float(times_ns[-1] - times_ns[0]) / gaps_ns.size
        self._known = KnownLevels(len(self.lines), self.lines.index(self._data) if self._data in self.lines else None)
        self._edge_list = reader.initial
        if reader.kind == "volts":
            thresholds = self._thresholds or self._surveyed()
            self._comparators = comparators(thresholds)
            self._meter = LevelMeter(self.lines, thresholds)

    def _logic(
        self, times_ns: Ticks,
        cells: Table, reader: CsvReader,
    ) -> tuple[Piece, ...]:  # fmt: skip
        weights = 1 << np.arange(cells.shape[1])
        doubtful = np.isnan(cells)
        levels, unknown = self._known.take(
            (np.where(doubtful, 0.0, cells) @ weights).astype(np.uint8), (doubtful @ weights).astype(np.uint8)
        )
        self.initials = (self._known.initial if self._edge_list is None else self._edge_list,)
        return (Piece(ticks=times_ns, levels=levels, known_to=reader.last_ns, unknown=unknown),)

    def _volts(
        self, times_ns: Ticks,
        volts: Table,
    ) -> tuple[Piece, ...]:  # fmt: skip
        pieces = []
        for k, comparator in enumerate(self._comparators):
            piece, high = comparator.take(times_ns, volts)
            pieces.append(piece)
            if k == 0 and self._meter is not None:
                self._meter.take(volts, high)
        self.initials = tuple(comparator.initial or 0 for comparator in self._comparators)
        return tuple(pieces)

    def _surveyed(self) -> Thresholds:
        """Thresholds from a first pass over the whole file, up to whatever cannot be read."""
        survey, reader = LevelSurvey(), CsvReader(self._wanted)
        with self._path.open("rb") as file:
            try:
                for lines in text_chunks(file):
                    survey.take(reader.take(lines)[1])
            except CaptureError:
                pass  # It is met again, and said, when the file is decoded.
        return survey.thresholds()

    def levels(self) -> tuple[LineLevels, ...]:
        """Voltages of the lines; empty for logic."""
        return self._meter.results() if self._meter else ()


def text_chunks(file: BinaryIO) -> Iterator[list[str]]:
    """Whole lines, some ten thousand at a time; CaptureError for a line that cannot be text."""
    rest, number = b"", 1
    while chunk := file.read(TEXT_A_CHUNK):
        lines = (rest + chunk).split(b"\n")
        rest = lines.pop()
        if len(rest) > LONGEST_LINE:
            raise parse_error(number + len(lines), 1, f"a line of more than {LONGEST_LINE} bytes", "rows of text")
        number += len(lines)
        if lines:
            yield b"\n".join(lines).decode("utf-8", "replace").split("\n")
    if rest:
        yield [rest.decode("utf-8", "replace")]


def form_of(path: Path, form: str) -> str:
    """The format asked for, or the one that the name tells."""
    if form != "auto":
        return form
    if path.suffix.lower() not in FORMATS:
        raise UsageError(f"{path}: the name does not tell the format; allowed: {', '.join(FORMATS)}, or --format")
    return FORMATS[path.suffix.lower()]
