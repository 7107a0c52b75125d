"""A coarse × fine grid per channel: cells with a class, a letter and a word for the pointer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from harness.report.labels import fine_name, range_name
from harness.values import RunResult, SettingResult

CELL_WIDTH = 20
CELL_HEIGHT = 17
LEFT = 58
TOP = 22
BOTTOM = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One setting in a grid."""

    x: int
    y: int
    kind: str
    """Class name: decides the colour."""
    letter: str
    """At most one."""
    mark: str
    """cross, hatch or empty."""
    title: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """One channel."""

    channel: int
    cells: tuple[Cell, ...]
    rows: tuple[tuple[int, str], ...]
    """Vertical place and name of each range."""
    columns: tuple[tuple[int, str], ...]
    """Horizontal place and name of the fine positions that are named."""
    width: int
    height: int


Paint = Callable[[SettingResult], tuple[str, str, str, str]]
"""A row's class, letter, mark and title."""


def grids(result: RunResult, paint: Paint) -> tuple[Grid, ...]:
    """The grids of a run.

    Args:
        result: of a run.
        paint: decides the look of a cell.
    Returns:
        one grid a channel, all of one size; the most sensitive range at the bottom.
    """
    coarse = sorted({row.setting.coarse for row in result.settings})
    fine = sorted({row.setting.fine for row in result.settings})
    across = {index: LEFT + number * CELL_WIDTH for number, index in enumerate(fine)}
    down = {index: TOP + number * CELL_HEIGHT for number, index in enumerate(coarse)}
    named = fine if len(fine) <= 3 else [fine[0], fine[len(fine) // 2], fine[-1]]
    return tuple(
        Grid(
            channel=channel,
            cells=tuple(
                Cell(
                    x=across[row.setting.fine],
                    y=down[row.setting.coarse],
                    **dict(zip(("kind", "letter", "mark", "title"), paint(row), strict=True)),
                )
                for row in result.settings
                if row.setting.channel == channel
            ),
            rows=tuple((down[index] + CELL_HEIGHT // 2, range_name(index, result)) for index in coarse),
            columns=tuple((across[index] + CELL_WIDTH // 2, fine_name(index, result)) for index in named),
            width=LEFT + len(fine) * CELL_WIDTH + 14,
            height=TOP + len(coarse) * CELL_HEIGHT + BOTTOM,
        )
        for channel in sorted({row.setting.channel for row in result.settings})
    )
