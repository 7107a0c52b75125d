"""Versions of the schema: a new store gets the newest, an older one is brought up or read as it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime

from sqlalchemy import Connection, insert, inspect, select, update
from sqlalchemy.schema import CreateColumn

from harness.errors import SchemaMismatch
from harness.store import chain
from harness.store.schema import CHANGES, METADATA, MIGRATIONS, SCHEMA, VERSION, since_of
from harness.store.server import hold

Filling = Callable[[Connection, int], None]

FILLINGS: Mapping[int, Filling] = {4: chain.fill, 8: chain.fill_journal}
"""By version, what it does besides adding columns and tables: fills the new ones from what is there."""


def bring_up(connection: Connection, place: str) -> None:
    """Make an empty database, or one of an older version, one of ours of today.

    Tables, version number and the line about each change are in the caller's transaction: all of them or none.

    Raises:
        SchemaMismatch: written by a newer version, or not a store of ours at all.
    """
    hold(connection, "schema")
    if not inspect(connection).get_table_names():
        METADATA.create_all(connection)
        connection.execute(insert(SCHEMA), {"version": VERSION})
        return
    for version in range(require_version(connection, place) + 1, VERSION + 1):
        _add(connection, version)
        if version in FILLINGS:
            FILLINGS[version](connection, version)
        line = {"version": version, "change": CHANGES[version], "at_utc": datetime.now(UTC).isoformat()}
        connection.execute(insert(MIGRATIONS), line)
        connection.execute(update(SCHEMA), {"version": version})


def _add(connection: Connection, version: int) -> None:
    for table in METADATA.sorted_tables:
        if since_of(table) == version:
            table.create(connection)
            continue
        new = [column for column in table.columns if since_of(column) == version]
        # A table that came on the way here was made as it is today.
        there = {column["name"] for column in inspect(connection).get_columns(table.name)} if new else set()
        for column in new:
            if column.name not in there:
                definition = CreateColumn(column).compile(dialect=connection.dialect)
                name = connection.dialect.identifier_preparer.format_table(table)
                connection.exec_driver_sql(f"ALTER TABLE {name} ADD COLUMN {definition}")


def prove_writable(connection: Connection) -> None:
    """Write something that changes nothing: on a read-only file the lock alone is granted all the same."""
    connection.execute(update(SCHEMA).values(version=SCHEMA.c.version))


def require_new_or_ours(connection: Connection, place: str) -> None:
    """Let an empty database pass, else as `require_version`.

    Raises:
        SchemaMismatch: written by a newer version, or not a store of ours at all.
    """
    if inspect(connection).get_table_names():
        require_version(connection, place)


def require_version(connection: Connection, place: str) -> int:
    """The version of a store; refuses a database of another making.

    Raises:
        SchemaMismatch: written by a newer version, or not a store of ours at all.
    """
    names = inspect(connection).get_table_names()
    if SCHEMA.name not in names:
        raise SchemaMismatch(
            f"store {place}: a database, but not one of gainladder (tables: {', '.join(names) or 'none'}): "
            "name another store with --store"
        )
    found = connection.execute(select(SCHEMA.c.version)).scalars().all()
    if len(found) != 1 or found[0] not in CHANGES:
        newer = "the newer gainladder" if found and max(found) > VERSION else "the gainladder"
        raise SchemaMismatch(
            f"store {place}: schema version {', '.join(map(str, found)) or 'missing'}; this gainladder knows versions "
            f"1 to {VERSION}: use {newer} that wrote it, or name another store with --store"
        )
    return int(found[0])
