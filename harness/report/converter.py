"""Converter figures as text: cells of a setting's row, and the table of offset and noise before and after the gain."""

from __future__ import annotations

from dataclasses import dataclass

from harness.report import words
from harness.values import ConverterFigures, PathFigures, RunResult


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureCells:
    """The figures of one setting as text."""

    sinad: str = words.NOTHING
    enob: str = words.NOTHING
    used: str = words.NOTHING
    noise_in: str = words.NOTHING
    gaps: str = words.NOTHING
    thd: str = words.NOTHING
    hum: str = words.NOTHING


def figure_cells(figures: ConverterFigures | None) -> FigureCells:
    """How the converter figures of a setting read.

    Args:
        figures: of the setting; None where there are none.
    Returns:
        the cells, a dash each for None.
    """
    if figures is None:
        return FigureCells()
    return FigureCells(
        sinad=words.decimal(figures.sinad_db, digits=1),
        enob=words.decimal(figures.enob_bits),
        used=words.decimal(figures.used_bits),
        noise_in=words.volts(figures.noise_in_v),
        gaps=f"{figures.gap_empty} of {figures.gap_inner}, longest {figures.gap_longest}",
        thd=words.decimal(figures.thd_db, digits=1),
        hum=words.decimal(figures.hum_db, digits=1),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PathLine:
    """Offset and noise of one path as text."""

    channel: int
    path: str
    settings: int
    offset_before: str
    u_before: str
    offset_after: str
    u_after: str
    noise_before: str
    noise_after: str


def path_lines(result: RunResult) -> tuple[PathLine, ...]:
    """How offset and noise before and after the gain read.

    Args:
        result: of a run.
    Returns:
        a line for each channel and path.
    """
    return tuple(_line(row) for row in result.paths)


def _line(row: PathFigures) -> PathLine:
    return PathLine(
        channel=row.channel,
        path=row.path,
        settings=row.settings,
        offset_before=words.volts(row.offset_before_v),
        u_before=words.volts(row.u_offset_before_v),
        offset_after=words.decimal(row.offset_after_code, digits=3, signed=True),
        u_after=words.decimal(row.u_offset_after_code, digits=3),
        noise_before=words.volts(row.noise_before_v),
        noise_after=words.decimal(row.noise_after_code, digits=3),
    )
