"""The chain over a run's readings: each row carries the hash of its own content and of the row recorded before it.

The first row follows the hash of the run's header, and the run keeps the hash of its last row with their number. So a
row that was changed, removed or put in between is found, and so is a changed header. The chain proves nothing against
somebody who computes all of it anew; it finds damage, and a hand that corrects one number.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Column, Connection, Table, bindparam, select, update

from harness.store.schema import READINGS, RUN_FILES, RUNS, columns_at, default_of, since_of

_OUTSIDE = {
    READINGS.name: {"run", "previous_hash", "own_hash"},
    # What changes while the run goes on; and the number, which is another one in another store.
    RUNS.name: {"number", "finished_utc", "end", "chain_head", "chain_length"},
    RUN_FILES.name: {"run"},
}
_ALWAYS = object()
# Made once; what is hashed holds no circle to look for.
_ENCODER = json.JSONEncoder(separators=(",", ":"), check_circular=False)
_PAGE = 64


def _parts(table: Table) -> tuple[tuple[str, Any], ...]:
    columns = (column for column in table.columns if column.name not in _OUTSIDE[table.name])
    return tuple((column.name, _left_out(column)) for column in sorted(columns, key=lambda column: column.name))


def _left_out(column: Column[Any]) -> Any:
    # At its default a later column is left out: so a row has the hash that it had before the column was there.
    return default_of(column) if since_of(column) > 1 else _ALWAYS


_READING, _RUN, _FILE = _parts(READINGS), _parts(RUNS), _parts(RUN_FILES)


def row_hash(row: Mapping[str, Any], previous: str) -> str:
    """The hash of a reading's row that follows a row of another hash: SHA-256, as 64 hexadecimal digits.

    Raises:
        TypeError: a value of a kind that no column has.
    """
    return _hash([previous, _content(_READING, row)])


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
        elif type(value) is float:
            # A database may drop the sign of zero.
            value += 0.0
        if left_out is _ALWAYS or value != left_out:
            content[name] = value
    return content


def _hash(content: Any) -> str:
    # Letters beyond ASCII are escaped: the same bytes whatever the encoding of the database.
    return hashlib.sha256(_ENCODER.encode(content).encode("ascii")).hexdigest()
