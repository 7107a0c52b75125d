"""Is the store whole? Looks at everything, changes nothing, and names what is wrong."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, func, select

from harness.errors import StoreError
from harness.store.chain import header_hash, kept_hash, row_hash
from harness.store.dropped_row import dropped_of, with_gone
from harness.store.journal_check import journal_faults
from harness.store.reading_row import reading_of
from harness.store.run_row import read_infos
from harness.store.schema import DROPPED, EVENTS, FILES, READINGS, RUN_FILES, RUNS, columns_at, since_of

_PAGE = 64
Kept = Mapping[str, Any] | None
"""The row of what was kept of a reading; None where its raw data are there."""
CHAINED = since_of(READINGS.c.own_hash)
"""The version of the schema that brought the chain."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreCheck:
    """What was looked at, and what is wrong."""

    version: int
    """Of the schema."""
    runs: int
    readings: int
    events: int
    chained: bool
    """Whether the readings carry a chain; false in a store of an older schema."""
    faults: tuple[str, ...]
    """Each names its place; empty when the store is whole."""


def check_store(connection: Connection, version: int, file_faults: tuple[str, ...]) -> StoreCheck:
    """Everything but the pages of the file, which the caller has looked at, in the caller's one view of the store."""
    faults = [*file_faults, *_file_texts(connection), *_strangers(connection, version)]
    runs = connection.execute(select(RUNS.c.number, RUNS.c.run_id).order_by(RUNS.c.number)).all()
    for run in runs:
        faults += _run_faults(connection, version, run.number, run.run_id)
    counts = [
        int(connection.execute(select(func.count()).select_from(table)).scalar_one()) for table in (READINGS, EVENTS)
    ]
    return StoreCheck(
        version=version,
        runs=len(runs),
        readings=counts[0],
        events=counts[1],
        chained=version >= CHAINED,
        faults=tuple(faults),
    )


def _file_texts(connection: Connection) -> Iterator[str]:
    for row in connection.execute(select(FILES.c.sha256, FILES.c.text)):
        true = hashlib.sha256(row.text.encode("utf-8", "surrogatepass")).hexdigest()
        if true != row.sha256:
            yield f"configuration file {row.sha256[:12]}: its text was changed: it has the hash {true[:12]} now"


def _strangers(connection: Connection, version: int) -> Iterator[str]:
    known = select(RUNS.c.number)
    for table in (READINGS, EVENTS, RUN_FILES, *([DROPPED] if version >= since_of(DROPPED) else [])):
        query = select(table.c.run, func.count()).where(table.c.run.not_in(known)).group_by(table.c.run)
        for number, count in connection.execute(query):
            yield f"{count} rows of {table.name} belong to run number {number}, which is not there"


def _run_faults(connection: Connection, version: int, number: int, run_id: str) -> Iterator[str]:
    try:
        read_infos(connection, version, run_id)
    except StoreError as error:
        yield str(error)
    chained = version >= CHAINED
    line = _Line(header_hash(connection, number, version))
    yield from journal_faults(connection, version, number, f"run {run_id}: ", line.start)
    for row, kept in _rows(connection, version, number):
        try:
            reading_of(row._asdict(), f"run {run_id}", kept)
        except StoreError as error:
            yield str(error)
        if kept is not None and kept["own_hash"] != kept_hash(kept, row.own_hash):
            yield f"run {run_id}: what was kept of reading {row.reading} was changed since its raw data were dropped"
        if chained:
            line.take(row, kept)
    if not chained:
        return
    run = connection.execute(select(RUNS).where(RUNS.c.number == number)).one()
    if line.is_whole(run.chain_head, run.chain_length):
        return
    walk = _Walk(f"run {run_id}: ")
    for row, kept in _rows(connection, version, number):
        yield from walk.changes(row, kept)
    yield from walk.breaks(line.start, run.chain_head, run.chain_length)


def _rows(connection: Connection, version: int, number: int) -> Iterator[tuple[Row[tuple[object, ...]], Kept]]:
    """A run's rows in order of index, with what was kept of each that was dropped; a page in memory at a time."""
    last = -1
    query = select(*columns_at(READINGS, version)).where(READINGS.c.run == number).order_by(READINGS.c.reading)
    while rows := connection.execute(query.where(READINGS.c.reading > last).limit(_PAGE)).all():
        dropped = dropped_of(connection, version, number, after=last, last=rows[-1].reading)
        yield from ((row, dropped.get(row.reading)) for row in rows)
        last = rows[-1].reading


class _Line:
    """Whether each row follows the one before, as in nearly every run; needs no memory, whatever the run's length."""

    def __init__(self, start: str) -> None:
        self.start = self._head = start
        self._count = 0
        self._sound = True

    def take(self, row: Row[tuple[object, ...]], kept: Kept) -> None:
        """The next row in order of index."""
        self._sound = self._sound and row.previous_hash == self._head and row.own_hash == _true_hash(row, kept)
        self._head = row.own_hash
        self._count += 1

    def is_whole(self, head: str, length: int) -> bool:
        """Whether all rows were in line, to the end that the run knows of."""
        return self._sound and (self._head, self._count) == (head, length)


def _true_hash(row: Row[tuple[object, ...]], kept: Kept) -> str:
    """The hash that a row should have; empty where its content is of a kind that no column has."""
    try:
        return row_hash(with_gone(row._asdict(), kept), row.previous_hash)
    except (TypeError, ValueError, AttributeError):
        return ""


class _Walk:
    """The links of a chain that is not in line, gathered first: readings need not be recorded in order of index."""

    def __init__(self, place: str) -> None:
        self._place = place
        self._index_of: dict[str, int] = {}
        self._follows: dict[int, str] = {}

    def changes(self, row: Row[tuple[object, ...]], kept: Kept) -> Iterator[str]:
        """What a row says of itself that is not so."""
        index, previous, own = row.reading, row.previous_hash, row.own_hash
        if not previous or not own:
            yield f"{self._place}reading {index} carries no hash: it was put in by another program"
            self._follows[index] = ""
            return
        self._follows[index] = previous
        if _true_hash(row, kept) != own:
            yield f"{self._place}reading {index} was changed after it was recorded: its hash is not that of its content"
        if own in self._index_of:
            yield f"{self._place}reading {index} has the hash of reading {self._index_of[own]}: one of them was put in"
        self._index_of[own] = index

    def breaks(self, start: str, head: str, length: int) -> Iterator[str]:
        """Rows that follow nothing that is there, rows beside the chain, and an end that is cut off."""
        after: dict[str, int] = {}
        for index, previous in self._follows.items():
            if not previous:
                continue
            if previous in after:
                yield f"{self._place}readings {after[previous]} and {index} follow the same one: one of them was put in"
            after[previous] = index
            if previous != start and previous not in self._index_of:
                yield (
                    f"{self._place}reading {index} follows a reading that is not there{_gap(index, self._follows)}: "
                    "that one was removed or changed, or this one was put in"
                )
        if self._follows and start not in after:
            yield (
                f"{self._place}no reading follows the header: the header was changed, or the first reading was removed"
            )
        if head not in self._index_of and not (head == start and not self._follows):
            left = f"{len(self._follows)} of {length} left"
            yield f"{self._place}the reading recorded last is not there: the end was cut off ({left})"
        elif head in after:
            yield f"{self._place}reading {after[head]} comes after the one recorded last: it was put in"
        if length != len(self._follows):
            yield f"{self._place}{length} readings were recorded, {len(self._follows)} are there"


def _gap(index: int, there: dict[int, str]) -> str:
    """The indices that are missing just below one, in words."""
    below = index - 1
    while below >= 0 and below not in there:
        below -= 1
    if below == index - 1:
        return ""
    missing = str(index - 1) if below == index - 2 else f"{below + 1} to {index - 1}"
    return f" ({missing} missing)"
