"""CSV captures to tables of times and levels: sampled or event rows, logic or volts, and edge lists."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from harness.bus.piece import Ticks
from harness.bus.table_text import LONGEST_LINE, CsvError, Table, numbers, parse_error, place, shown
from harness.errors import CaptureError

TIME_COLUMNS = {"time_s": 1e9, "time_ns": 1.0}
EDGE_HEAD = ("line", "level")
LATEST_NS = 2**62
LEVELS = {"0": 0.0, "1": 1.0} | dict.fromkeys("xXzZ", np.nan)


class CsvReader:
    """Takes lines of text, gives times and cells; the head of the table decides what the cells are.

    `time_s,data,clock,...`: a row is a sample or an event; cells are 0, 1 or x.
    `time_s,data_v,clock_v,...`: a row is a sample; cells are volts.
    `time_s,line,level`: a row is a change of one line.
    `time_ns` may stand in place of `time_s`. Lines that begin with # may stand before the head.
    """

    def __init__(self, wanted: tuple[str, ...] | None) -> None:
        self.wanted = wanted
        """Names of the lines to look for; None takes all columns."""
        self.lines: tuple[str, ...] = wanted or ()
        self.kind = ""
        """logic, volts or edges; empty before the head was read."""
        self.rows = 0
        self.initial: int | None = None
        """Levels before the first row of an edge list; None for other kinds, whose first row tells them."""
        self.last_ns = 0
        self._number = 0
        self._cells = 0
        self._columns: list[int] = []
        self._unit_ns = 1.0
        self._standing = (0, 0)
        self._trouble: CsvError | None = None

    def take(self, lines: list[str]) -> tuple[Ticks, Table]:
        """The rows of some more lines.

        Args:
            lines: whole lines, with or without their ends.
        Returns:
            times, ns, shape (n,), never decreasing; and cells, shape (n, k), in the order of `lines`: 0, 1 or NaN for
            not known where the kind is logic or edges, else volts.
        Raises:
            CaptureError: what cannot be read, or time that runs backwards: with line and column. The rows before it are
                given first; it is raised when more is asked for, here or by `finish`.
        Source:
            none: reading.
        """
        if self._trouble is not None:
            raise self._trouble
        start = self._number
        self._number += len(lines)
        at = 0
        while not self.kind and at < len(lines):
            line = lines[at].strip().lstrip("\ufeff")
            at += 1
            if line and not line.startswith("#"):
                self._head(line, start + at)
        body = lines[at:]
        while body and not body[-1].strip():
            body.pop()
        return self._rows(body, start + at + 1)

    def finish(self) -> None:
        """Whether the file is at a sound end.

        Raises:
            CaptureError: no head, no row, or trouble that was found behind the rows given last.
        Source:
            none: checking.
        """
        if self._trouble is not None:
            raise self._trouble
        if not self.kind or self.rows == 0:
            missing = "no row" if self.kind else "no head"
            raise CaptureError(
                f"CSV: the file ends with {missing}; allowed is a head such as time_s,data,clock and rows"
            )

    def _rows(self, body: list[str], first: int) -> tuple[Ticks, Table]:
        """Rows up to the first that cannot be read; that one is said when more is asked for."""
        if not body:
            return np.zeros(0, dtype=np.int64), np.zeros((0, len(self.lines)))
        try:
            return self._parsed(body, first)
        except CsvError as error:
            if error.line <= first:
                raise
            self._trouble = error
            return self._parsed(body[: error.line - first], first)

    def _parsed(self, body: list[str], first: int) -> tuple[Ticks, Table]:
        for k, line in enumerate(body):
            if len(line) > LONGEST_LINE or not line.strip():
                raise parse_error(first + k, 1, f"a line of {len(line.strip())} characters", "a row of the table")
        if self.kind == "edges":
            return self._edges(body, first)
        table = numbers(body, self._cells, first_line=first)
        cells = table[:, self._columns]
        if self.kind == "logic":
            self._check_levels(cells, self._columns, body, first)
        elif np.isnan(cells).any():
            self._refuse(np.isnan(cells), self._columns, body, first, "a finite voltage")
        # Last, since it remembers the time.
        return self._times(table[:, 0], body, first), cells

    def _head(self, line: str, number: int) -> None:
        names = [name.strip().strip('"') for name in line.split(",")]
        if names[0] not in TIME_COLUMNS or len(names) < 2:
            raise parse_error(
                number, 1, shown(line), "a head such as time_s,data,clock,latch (levels), time_s,data_v,... (volts) or "
                "time_s,line,level (edges)",
            )  # fmt: skip
        self._unit_ns, self._cells = TIME_COLUMNS[names[0]], len(names)
        if tuple(names[1:]) == EDGE_HEAD:
            if self.wanted is None:
                raise parse_error(number, 1, "an edge list without a wiring", "a wiring that names its lines")
            self.kind = "edges"
            return
        plain = [name.replace("-", "_") for name in names]
        wanted = self.wanted or tuple(name.removesuffix("_v") for name in names[1:])
        kinds = set()
        for name in wanted:
            found = [k for k, other in enumerate(plain) if k and other.removesuffix("_v") == name.replace("-", "_")]
            if len(found) != 1:
                raise parse_error(
                    number, 1, f"{len(found)} columns for line {name} among {shown(', '.join(names[1:]))}",
                    "one of its name, with _v behind it for volts",
                )  # fmt: skip
            kinds.add("volts" if plain[found[0]] != name.replace("-", "_") else "logic")
            self._columns.append(found[0])
        if len(kinds) != 1:
            raise parse_error(number, 1, "levels beside volts", "all lines as levels, or all as volts with _v")
        if not 1 <= len(wanted) <= 8:
            raise parse_error(number, 1, f"{len(wanted)} lines", "1 to 8 lines; name them in a wiring")
        self.lines, self.kind = wanted, kinds.pop()

    def _times(self, column: npt.NDArray[np.float64], body: list[str], first: int) -> Ticks:
        scaled = column * self._unit_ns
        wrong = ~(np.abs(scaled) < LATEST_NS)
        if wrong.any():
            self._refuse(wrong[:, None], [0], body, first, f"a number, a time within {LATEST_NS} ns")
        times_ns = np.rint(scaled).astype(np.int64)
        if self.rows == 0:
            self.last_ns = int(times_ns[0])
        back = np.diff(times_ns, prepend=self.last_ns) < 0
        if back.any():
            self._refuse(back[:, None], [0], body, first, "times that never decrease: is the file damaged?")
        self.rows += times_ns.size
        self.last_ns = int(times_ns[-1])
        return times_ns

    def _check_levels(self, cells: Table, columns: list[int], body: list[str], first: int) -> None:
        wrong = ~((cells == 0) | (cells == 1) | np.isnan(cells))
        if wrong.any():
            self._refuse(wrong, columns, body, first, "0, 1 or x (name the column with _v behind it for volts)")

    def _refuse(
        self, wrong: npt.NDArray[np.bool_], columns: list[int], body: list[str], first: int, allowed: str
    ) -> None:
        row = int(wrong.any(axis=1).argmax())
        cells = body[row].rstrip("\r\n").split(",")
        column = columns[int(wrong[row].argmax())]
        raise parse_error(first + row, place(cells, column), shown(cells[column].strip()), allowed)

    def _edges(self, body: list[str], first: int) -> tuple[Ticks, Table]:
        """Rows of single changes, as rows of all levels."""
        plain = {name.replace("-", "_"): k for k, name in enumerate(self.lines)}
        changes: list[tuple[int, float]] = []
        times: list[str] = []
        for k, line in enumerate(body):
            cells = line.rstrip("\r\n").split(",")
            if len(cells) != 3:
                raise parse_error(first + k, 1, f"{len(cells)} cells", "3: time, line and level: is the file whole?")
            level = cells[2].strip()
            if level not in LEVELS:
                raise parse_error(first + k, place(cells, 2), shown(level), "0, 1 or x")
            changes.append((plain.get(cells[1].strip().replace("-", "_"), -1), LEVELS[level]))
            times.append(cells[0])
        column = numbers(times, 1, first_line=first)[:, 0]
        if np.isnan(column).any():
            self._refuse(np.isnan(column)[:, None], [0], body, first, "a time")
        times_ns = self._times(column, body, first)
        if self.initial is None:
            # Before its first change a line stood at the other level.
            self.initial = sum(1 << k for k in range(len(self.lines)) if dict(reversed(changes)).get(k) == 0.0)
            self._standing = self.initial, 0
        rows = np.empty((len(body), len(self.lines)))
        levels, unknown = self._standing
        for k, (which, level_now) in enumerate(changes):
            bit = 1 << which if which >= 0 else 0
            unknown = unknown | bit if level_now != level_now else unknown & ~bit
            levels = levels | bit if level_now == 1.0 else levels & ~bit if level_now == 0.0 else levels
            rows[k] = [np.nan if unknown >> j & 1 else levels >> j & 1 for j in range(len(self.lines))]
        self._standing = levels, unknown
        return times_ns, rows
