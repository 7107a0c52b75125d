"""All settings as they stand on paper: lines of columns, a block for each range, where a table of cells is heavy."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from harness.report import words
from harness.report.labels import fine_name, range_name
from harness.report.tables import Columns, SettingLine
from harness.values import Outcome, RunResult

SAME = "="
"""Stands for a captured word that is the expected one."""
GAP = 2
"""Blanks between columns."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperBlock:
    """The settings of one range of one channel."""

    head: str
    rows: tuple[tuple[str, bool], ...]
    """Each line, and whether it did not pass."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperTable:
    """All settings in letters of one width."""

    blocks: tuple[PaperBlock, ...]
    letters: int
    """Of the longest line."""


def paper_table(result: RunResult, lines: Sequence[SettingLine], shown: Columns) -> PaperTable:
    """The table of all settings for paper.

    Args:
        result: of a run.
        lines: its settings as text, in its order; none for no table.
        shown: which further columns there are.
    Returns:
        a block for each range of each channel in the order of the run, columns of one width through all blocks.
    """
    if not lines:
        return PaperTable(blocks=(), letters=0)
    columns = _columns(shown)
    names = [fine_name(row.setting.fine, result) for row in result.settings]
    cells = [[name, *(cell(line) for _, cell in columns)] for name, line in zip(names, lines, strict=True)]
    places = [(row.setting.channel, row.setting.coarse) for row in result.settings]
    titles = {place: f"ch{place[0]} {range_name(place[1], result)}" for place in places}
    heads = [head for head, _ in columns]
    widths = [max(map(len, column)) for column in zip(["", *heads], *cells, strict=True)]
    widths[0] = max(widths[0], *(len(title) for title in titles.values()))
    rows: dict[tuple[int, int], list[tuple[str, bool]]] = {}
    for place, line, texts in zip(places, lines, cells, strict=True):
        rows.setdefault(place, []).append((_joined(texts, widths), line.outcome is not Outcome.PASS))
    return PaperTable(
        blocks=tuple(
            PaperBlock(head=_joined([titles[place], *heads], widths), rows=tuple(own)) for place, own in rows.items()
        ),
        letters=sum(widths) + GAP * (len(widths) - 1),
    )


def _joined(texts: Sequence[str], widths: Sequence[int]) -> str:
    first = texts[0].ljust(widths[0])
    return (" " * GAP).join(
        [first, *(text.rjust(width) for text, width in zip(texts[1:], widths[1:], strict=True))]
    )


def _columns(shown: Columns) -> list[tuple[str, Callable[[SettingLine], str]]]:
    wanted: list[tuple[bool, str, Callable[[SettingLine], str]]] = [
        (True, "outcome", lambda line: str(line.outcome)),
        (True, "word", lambda line: line.expected),
        (True, "captured", lambda line: SAME if line.captured == line.expected else line.captured),
        (True, "predicted", lambda line: line.predicted),
        (True, "codes/V", lambda line: line.measured),
        (True, "residual", lambda line: line.residual),
        (shown.expanded, "U", lambda line: line.expanded),
        (shown.tur, "TUR", lambda line: line.tur),
        (shown.fitted, "fitted", lambda line: line.fitted),
        (True, "up/down", lambda line: line.up_down),
        (True, "drive", lambda line: line.drive),
        (True, "fill", lambda line: line.fill),
        (True, "offset", lambda line: line.offset),
        (True, "noise", lambda line: line.noise),
        (True, "spacing", lambda line: line.spacing),
        (shown.figures, "SINAD", lambda line: line.figures.sinad),
        (shown.figures, "ENOB", lambda line: line.figures.enob),
        (shown.figures, "noise in", lambda line: line.figures.noise_in),
        (shown.thd, "THD", lambda line: line.figures.thd),
        (shown.hum, "hum", lambda line: line.figures.hum),
        (True, "found", lambda line: line.realness),
        (True, "tries", lambda line: str(line.attempts)),
        (shown.flags, "flags", lambda line: line.flags or words.NOTHING),
    ]
    return [(head, cell) for needed, head, cell in wanted if needed]
