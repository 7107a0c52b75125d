"""A coarse × fine grid per channel: cells with a class, a letter and a word for the pointer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from harness.report.labels import fine_name, range_name
from harness.values import RunResult, Setting, SettingResult

NARROW, WIDE = 22, 44
FEW = 8
"""Up to so many fine positions a cell is wide and every position is named."""

MANY = 60
"""From so many fine positions on cells share the width of so many, and neighbours that look alike are one."""
LETTERED = 12
"""Width from which a cell has room for its letter."""

CELL_HEIGHT = 17
LEAST_LEFT = 52
LETTER = 6
"""Room for a letter of a range's name."""

LONGEST = 24
"""Letters of a name that are shown; a cell's title holds the whole label."""

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
    width: int
    """With the gap behind it; of several neighbours that look alike, in a ladder of many fine positions."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """One channel."""

    channel: int
    cells: tuple[Cell, ...]
    rows: tuple[tuple[int, str], ...]
    """Vertical place and name of each range."""
    columns: tuple[tuple[int, str], ...]
    """Horizontal place and name of the fine positions that are named."""
    left: int
    """Where the cells begin."""
    cell_width: int
    width: int
    height: int


Painted = tuple[str, str, str, str]
"""Class, letter, mark and title of a cell."""
Paint = Callable[[SettingResult], Painted]
"""What the cell of a row looks like."""
Name = Callable[[int], str]


def grids(result: RunResult, paint: Paint) -> tuple[Grid, ...]:
    """The grids of a run.

    Args:
        result: of a run.
        paint: decides the look of a cell.
    Returns:
        one grid a channel, all of one size; the most sensitive range at the bottom.
    """
    return grids_of(
        [(row.setting, paint(row)) for row in result.settings],
        range_named=lambda index: range_name(index, result), fine_named=lambda index: fine_name(index, result),
    )  # fmt: skip


def grids_of(
    painted: Sequence[tuple[Setting, Painted]], *, range_named: Name, fine_named: Name
) -> tuple[Grid, ...]:
    """The grids of any settings.

    Args:
        painted: each setting with the look of its cell.
        range_named: name of a range, by index.
        fine_named: name of a fine position, by index.
    Returns:
        one grid a channel, all of one size; the most sensitive range at the bottom.
    """
    coarse = sorted({setting.coarse for setting, _ in painted})
    fine = sorted({setting.fine for setting, _ in painted})
    cell_width = WIDE if len(fine) <= FEW else NARROW if len(fine) <= MANY else max(NARROW * MANY // len(fine), 2)
    names = {index: _short(range_named(index)) for index in coarse}
    left = max([LEAST_LEFT, *(LETTER * len(name) + 12 for name in names.values())])
    across = {index: left + number * cell_width for number, index in enumerate(fine)}
    down = {index: TOP + number * CELL_HEIGHT for number, index in enumerate(coarse)}
    named = fine if len(fine) <= FEW else [fine[0], fine[len(fine) // 2], fine[-1]]
    return tuple(
        Grid(
            channel=channel,
            cells=_cells(
                [
                    Cell(
                        x=across[setting.fine],
                        y=down[setting.coarse],
                        width=cell_width,
                        **dict(zip(("kind", "letter", "mark", "title"), looks, strict=True)),
                    )
                    for setting, looks in painted
                    if setting.channel == channel
                ],
                merged=len(fine) > MANY,
            ),
            rows=tuple((down[index] + CELL_HEIGHT // 2, names[index]) for index in coarse),
            columns=tuple((across[index] + cell_width // 2, _short(fine_named(index))) for index in named),
            left=left,
            cell_width=cell_width,
            width=left + len(fine) * cell_width + 14,
            height=TOP + len(coarse) * CELL_HEIGHT + BOTTOM,
        )
        for channel in sorted({setting.channel for setting, _ in painted})
    )


def _cells(cells: list[Cell], *, merged: bool) -> tuple[Cell, ...]:
    if not merged:
        return tuple(cells)
    found: list[Cell] = []
    for cell in sorted(cells, key=lambda cell: (cell.y, cell.x)):
        last = found[-1] if found else None
        if (
            last is not None
            and (last.y, last.kind, last.letter, last.mark) == (cell.y, cell.kind, cell.letter, cell.mark)
            and last.x + last.width == cell.x
        ):
            title = f"{last.title.split(' … ', 1)[0]} … {cell.title}"
            found[-1] = replace(last, width=last.width + cell.width, title=title)
        else:
            found.append(cell)
    return tuple(cell if cell.width >= LETTERED else replace(cell, letter="") for cell in found)


def _short(name: str) -> str:
    return name if len(name) <= LONGEST else f"{name[: LONGEST - 1]}…"
