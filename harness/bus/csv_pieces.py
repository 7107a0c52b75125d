"""Rows of a CSV capture to pieces, whatever the rows hold."""

from __future__ import annotations

import numpy as np

from harness.bus.analog import LevelMeter, comparators
from harness.bus.csv_reader import CsvReader
from harness.bus.known_levels import KnownLevels
from harness.bus.piece import Piece, Ticks
from harness.bus.table_text import Table
from harness.bus.thresholds import LevelSurvey, Thresholds
from harness.values import LineLevels

LEAST_ROWS = 8
"""Rows that must be equally far apart to be taken for samples."""


class CsvPieces:
    """Takes lines of text, gives pieces: one of logic, or three of voltages."""

    def __init__(
        self, lines: tuple[str, ...] | None, data: str | None, *, thresholds: Thresholds | None = None
    ) -> None:
        self._reader = CsvReader(lines)
        self._data, self.thresholds = data, thresholds
        self.lines: tuple[str, ...] = lines or ()
        self.initials: tuple[int, ...] = (0,)
        self.sample_ns: float | None = None
        self._known: KnownLevels | None = None
        self._meter: LevelMeter | None = None

    @property
    def in_volts(self) -> bool:
        """Whether the head of the table announces voltages."""
        return self._reader.kind == "volts"

    def survey(self, lines: list[str], survey: LevelSurvey) -> None:
        """Put voltages into a survey, instead of making pieces.

        Args:
            lines: whole lines.
            survey: takes the voltages.
        Raises:
            CaptureError: as `take`.
        Source:
            none: reading.
        """
        _, cells = self._reader.take(lines)
        if self.in_volts:
            survey.take(cells)

    def take(self, lines: list[str]) -> tuple[Piece, ...]:
        """The events of some more lines.

        Args:
            lines: whole lines.
        Returns:
            one piece for each entry of `initials`; nothing where the lines held no row.
        Raises:
            CaptureError: what cannot be read: see `CsvReader.take`; voltages, and no thresholds to hold them against.
        Source:
            none: reading.
        """
        times_ns, cells = self._reader.take(lines)
        if times_ns.size == 0:
            return ()
        if self._known is None:
            self._begin(times_ns)
        return self._volts(times_ns, cells) if self.in_volts else self._logic(times_ns, cells)

    def finish(self) -> None:
        """Whether the file is at a sound end.

        Raises:
            CaptureError: as `CsvReader.finish`.
        Source:
            none: checking.
        """
        self._reader.finish()

    def levels(self) -> tuple[LineLevels, ...]:
        """What the voltages were.

        Returns:
            one entry a line; empty for logic.
        Source:
            see `LevelMeter`.
        """
        return self._meter.results() if self._meter else ()

    def _begin(self, times_ns: Ticks) -> None:
        self.lines = self._reader.lines
        gaps_ns = np.diff(times_ns)
        # Rows at equal distances are samples; others are events with times of their own.
        if gaps_ns.size >= LEAST_ROWS and gaps_ns.max() - gaps_ns.min() <= max(2.0, 0.01 * float(gaps_ns.mean())):
            self.sample_ns = float(times_ns[-1] - times_ns[0]) / gaps_ns.size or None
        self._known = KnownLevels(len(self.lines), self.lines.index(self._data) if self._data in self.lines else None)
        if self.in_volts:
            thresholds = self.thresholds or LevelSurvey().thresholds()
            self._comparators = comparators(thresholds)
            self._meter = LevelMeter(self.lines, thresholds)

    def _logic(self, times_ns: Ticks, cells: Table) -> tuple[Piece, ...]:
        weights = 1 << np.arange(cells.shape[1])
        doubtful = np.isnan(cells)
        known = self._known or KnownLevels(len(self.lines), None)
        levels, unknown = known.take(
            (np.where(doubtful, 0.0, cells) @ weights).astype(np.uint8), (doubtful @ weights).astype(np.uint8)
        )
        self.initials = (known.initial if self._reader.initial is None else self._reader.initial,)
        return (Piece(ticks=times_ns, levels=levels, known_to=self._reader.last_ns, unknown=unknown),)

    def _volts(self, times_ns: Ticks, volts: Table) -> tuple[Piece, ...]:
        pieces = []
        for k, comparator in enumerate(self._comparators):
            piece, high = comparator.take(times_ns, volts)
            pieces.append(piece)
            if k == 0 and self._meter is not None:
                self._meter.take(volts, high)
        self.initials = tuple(comparator.initial or 0 for comparator in self._comparators)
        return tuple(pieces)
