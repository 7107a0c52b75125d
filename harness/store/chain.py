"""Two chains in each run, of readings and of journal: a row carries the hash of its content and of the row before it.

The first row follows the hash of the run's header, and the run keeps the hash of its last row with their number. So a
row that was changed, removed or put in between is found, and so is a changed header. The chain proves nothing against
somebody who computes all of it anew; it finds damage, and a hand that corrects one number.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Column, Connection, Table, bindparam, insert, select, update

from harness.store.schema import EVENTS, READINGS, RUN_FILES, RUNS, columns_at, default_of, since_of

_OUTSIDE = {
    READINGS.name: {"run", "previous_hash", "own_hash"},
    # What changes while the run goes on; and the number, which is another one in another store.
    RUNS.name: {"number", "finished_utc", "end", "chain_head", "chain_length", "journal_head", "journal_length"},
    EVENTS.name: {"number", "run", "previous_hash", "own_hash"},
    RUN_FILES.name: {"run"},
}
_KEPT = ("reading", "at_utc", "rule", "outcome", "limits", "numbers", "blobs")
_ALWAYS = object()
# Made once; what is hashed holds no circle to look for.
_ENCODER = json.JSONEncoder(separators=(",", ":"), check_circular=False)
_PAGE = 64


@dataclass(frozen=True, slots=True)
class Gone:
    """Stands for bytes that were dropped: the hash of the row goes by theirs."""

    sha256: str


def _parts(table: Table) -> tuple[tuple[str, Any], ...]:
    columns = (column for column in table.columns if column.name not in _OUTSIDE[table.name])
    return tuple((column.name, _left_out(column)) for column in sorted(columns, key=lambda column: column.name))


def _left_out(column: Column[Any]) -> Any:
    # At its default a later column is left out: so a row has the hash that it had before the column was there.
    return default_of(column) if since_of(column) > 1 else _ALWAYS


_READING, _RUN, _FILE, _EVENT = _parts(READINGS), _parts(RUNS), _parts(RUN_FILES), _parts(EVENTS)


def row_hash(row: Mapping[str, Any], previous: str) -> str:
    """The hash of a reading's row that follows a row of another hash: SHA-256, as 64 hexadecimal digits.

    Raises:
        TypeError: a value of a kind that no column has.
    """
    return _hash([previous, _content(_READING, row)])


def kept_hash(row: Mapping[str, Any], reading: str) -> str:
    """The hash of what is kept of a reading, which follows that reading's own hash."""
    return _hash([reading, {name: row[name] for name in _KEPT}])


def event_hash(row: Mapping[str, Any], previous: str) -> str:
    """The hash of a line of the journal that follows a line of another hash, as of a reading."""
    return _hash([previous, _content(_EVENT, row)])


def append_event(connection: Connection, run: int, row: Mapping[str, Any]) -> None:
    """Write a line of a run's journal as the next one of its chain, in the caller's transaction."""
    # For update: on a server another process may be at the same place; a file has one writer at a time.
    query = select(RUNS.c.journal_head).where(RUNS.c.number == run).with_for_update()
    previous = connection.execute(query).scalar_one()
    own = event_hash(row, previous)
    connection.execute(insert(EVENTS), {**row, "run": run, "previous_hash": previous, "own_hash": own})
    length = RUNS.c.journal_length + 1
    connection.execute(update(RUNS).where(RUNS.c.number == run).values(journal_head=own, journal_length=length))


def header_hash(connection: Connection, run: int, version: int) -> str:
    """The hash that a run's first reading follows, from the header in a store of a version."""
    header = connection.execute(select(*columns_at(RUNS, version)).where(RUNS.c.number == run)).one()
    query = select(*columns_at(RUN_FILES, version)).where(RUN_FILES.c.run == run).order_by(RUN_FILES.c.position)
    files = [_content(_FILE, row._asdict()) for row in connection.execute(query)]
    return _hash([_content(_RUN, header._asdict()), files])


def fill(connection: Connection, version: int) -> None:
    """Chain the readings of a store from before there were chains, in order of their index."""
    write = (
        update(READINGS)
        .where(READINGS.c.run == bindparam("its_run"), READINGS.c.reading == bindparam("its_reading"))
        .values(previous_hash=bindparam("previous"), own_hash=bindparam("own"))
    )
    for run in connection.execute(select(RUNS.c.number)).scalars().all():
        head, length, last = header_hash(connection, run, version), 0, -1
        while rows := _page(connection, run, version, last):
            changes = []
            for row in rows:
                previous, head = head, row_hash(row, head)
                changes.append({"its_run": run, "its_reading": row["reading"], "previous": previous, "own": head})
            connection.execute(write, changes)
            length, last = length + len(rows), rows[-1]["reading"]
        connection.execute(update(RUNS).where(RUNS.c.number == run), {"chain_head": head, "chain_length": length})


def fill_journal(connection: Connection, version: int) -> None:
    """Chain the journals of a store from before they were, in order of writing."""
    write = (
        update(EVENTS)
        .where(EVENTS.c.number == bindparam("its_number"))
        .values(previous_hash=bindparam("previous"), own_hash=bindparam("own"))
    )
    for run in connection.execute(select(RUNS.c.number)).scalars().all():
        head, changes = header_hash(connection, run, version), []
        query = select(*columns_at(EVENTS, version)).where(EVENTS.c.run == run).order_by(EVENTS.c.number)
        for row in connection.execute(query):
            previous, head = head, event_hash(row._asdict(), head)
            changes.append({"its_number": row.number, "previous": previous, "own": head})
        if changes:
            connection.execute(write, changes)
        ends = {"journal_head": head, "journal_length": len(changes)}
        connection.execute(update(RUNS).where(RUNS.c.number == run), ends)


def _page(connection: Connection, run: int, version: int, last: int) -> list[dict[str, Any]]:
    query = (
        select(*columns_at(READINGS, version))
        .where(READINGS.c.run == run, READINGS.c.reading > last)
        .order_by(READINGS.c.reading)
        .limit(_PAGE)
    )
    return [row._asdict() for row in connection.execute(query)]


def _content(parts: Iterable[tuple[str, Any]], row: Mapping[str, Any]) -> dict[str, Any]:
    content = {}
    for name, left_out in parts:
        value = row[name]
        if isinstance(value, bytes):
            value = {"sha256": hashlib.sha256(value).hexdigest()}
        elif isinstance(value, Gone):
            value = {"sha256": value.sha256}
        elif type(value) is float:
            # A database may drop the sign of zero.
            value += 0.0
        if left_out is _ALWAYS or value != left_out:
            content[name] = value
    return content


def _hash(content: Any) -> str:
    # Letters beyond ASCII are escaped: the same bytes whatever the encoding of the database.
    return hashlib.sha256(_ENCODER.encode(content).encode("ascii")).hexdigest()
