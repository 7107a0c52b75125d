"""Lines of CSV text to numbers, quickly; what cannot be read is named by line and column."""

from __future__ import annotations

import re

import numpy as np
import numpy.typing as npt

from harness.errors import CaptureError

Table = npt.NDArray[np.float64]

NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)
UNKNOWN = np.nan
UNKNOWN_WORDS = frozenset("xXzZ")
LONGEST_LINE = 65_536


class CsvError(CaptureError):
    """What cannot be read in a table, and in which line."""

    def __init__(self, message: str, line: int) -> None:
        super().__init__(message, line)
        self.message, self.line = message, line

    def __str__(self) -> str:
        return self.message


def numbers(lines: list[str], columns: int, *, first_line: int) -> Table:
    """The cells of some lines.

    Args:
        lines: n lines without blank ones.
        columns: cells that each must have.
        first_line: number of the first of them in its file, from 1.
    Returns:
        shape (n, columns); x and z, a level that is not known, come as NaN.
    Raises:
        CaptureError: another number of cells, or a cell that is neither a finite number nor x or z.
    Source:
        none: reading.
    """
    if (table := _plain(lines, columns)) is not None:
        return table
    return np.array([_row(line, columns, first_line + k) for k, line in enumerate(lines)], dtype=np.float64)


def _plain(lines: list[str], columns: int) -> Table | None:
    """The cells of sound lines without unknown levels; None for others, which take the slow way."""
    text = ",".join(lines)
    if not text.isascii() or "_" in text or any(line.count(",") != columns - 1 for line in lines):
        return None
    try:
        table = np.fromiter(map(float, text.split(",")), dtype=np.float64).reshape(len(lines), columns)
    except ValueError:
        return None
    return table if np.isfinite(table).all() else None


def _row(line: str, columns: int, number: int) -> list[float]:
    cells = line.rstrip("\r\n").split(",")
    if len(cells) != columns:
        raise parse_error(
            number, len(line.rstrip("\r\n")) + 1 if len(cells) < columns else place(cells, columns),
            f"{len(cells)} cells", f"{columns}, as the head of the table has: is the file whole?",
        )  # fmt: skip
    row = []
    for k, cell in enumerate(cells):
        text = cell.strip()
        if text in UNKNOWN_WORDS and text:
            row.append(UNKNOWN)
        elif NUMBER.fullmatch(cell) and np.isfinite(float(cell)):
            row.append(float(cell))
        else:
            raise parse_error(number, place(cells, k), shown(cell), "a finite number, or x for a level not known")
    return row


def parse_error(line: int, column: int, got: str, allowed: str) -> CsvError:
    """An error that names its place.

    Args:
        line: from 1.
        column: character in the line, from 1.
        got: what stands there.
        allowed: what may stand there.
    Returns:
        the error, to be raised.
    Source:
        none: wording.
    """
    return CsvError(f"CSV: {line}:{column} (line:column): got {got}; allowed: {allowed}", line)


def place(cells: list[str], cell: int) -> int:
    """Column at which a cell begins.

    Args:
        cells: of the line.
        cell: which, from 0.
    Returns:
        character, from 1.
    Source:
        none: counting.
    """
    return sum(len(text) + 1 for text in cells[:cell]) + 1


def shown(text: str) -> str:
    """A piece of foreign text, short enough for a message.

    Args:
        text: any.
    Returns:
        quoted, at most 40 characters of it.
    Source:
        none: wording.
    """
    return repr(text if len(text) <= 40 else text[:40] + "...")
