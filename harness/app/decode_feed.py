"""Capture files, read in chunks: packed samples, CSV, VCD, adapter blocks."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, cast

from harness.bus import Piece, Thresholds
from harness.bus.block import read_block
from harness.bus.csv_pieces import CsvPieces
from harness.bus.dump import ByteStream, VcdReader
from harness.bus.feed import Feed
from harness.bus.packed import PackedReader
from harness.bus.table_text import LONGEST_LINE, parse_error
from harness.bus.thresholds import LevelSurvey
from harness.errors import CaptureError, UsageError
from harness.values import LineLevels

SAMPLES_A_CHUNK = 1 << 23
TEXT_A_CHUNK = 1 << 21
LARGEST_BLOCK = 1 << 28
FORMATS = {".bin": "packed", ".raw": "packed", ".csv": "csv", ".vcd": "vcd", ".glc": "block"}


class PackedFeed(Feed):
    """One byte a sample, bit k is line k."""

    def __init__(self, file: BinaryIO, lines: tuple[str, ...], rate_hz: float) -> None:
        self._file, self.lines = file, lines
        self._reader = PackedReader(rate_hz)
        self.tick_ns = self.sample_ns = self._reader.tick_ns
        self.initials, self.dropped = (0,), 0

    def pieces(self) -> Iterator[tuple[Piece, ...]]:
        """Chunks of 8 million samples."""
        while samples := self._file.read(SAMPLES_A_CHUNK):
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
        self._path, self._wanted = path, lines
        self._rows = CsvPieces(lines, data, thresholds=thresholds)
        self.tick_ns, self.dropped = 1.0, 0
        self.sample_ns: float | None = None
        self.lines: tuple[str, ...] = lines or ()
        self.initials: tuple[int, ...] = (0,)

    def pieces(self) -> Iterator[tuple[Piece, ...]]:
        """Pieces of some ten thousand rows."""
        if self._rows.thresholds is None:
            self._rows.thresholds = self._surveyed()
        with self._path.open("rb") as file:
            for lines in text_chunks(file):
                if pieces := self._rows.take(lines):
                    self.lines, self.initials = self._rows.lines, self._rows.initials
                    self.sample_ns = self._rows.sample_ns
                    yield pieces
        self._rows.finish()

    def _surveyed(self) -> Thresholds | None:
        """Thresholds from a first pass over a file in volts, up to whatever cannot be read; None for other files."""
        rows, survey = CsvPieces(self._wanted, None), LevelSurvey()
        try:
            with self._path.open("rb") as file:
                for lines in text_chunks(file):
                    rows.survey(lines, survey)
                    if not rows.in_volts:
                        return None
        except CaptureError:
            pass  # It is met again, and said, when the file is decoded.
        return survey.thresholds() if rows.in_volts else None

    def levels(self) -> tuple[LineLevels, ...]:
        """Voltages of the lines; empty for logic."""
        return self._rows.levels()


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
