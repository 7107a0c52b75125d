"""Versions of the schema: a new store gets the newest, an older one is brought up or read as it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Column, Connection, Table, insert, inspect, literal, select, update
from sqlalchemy.schema import CreateColumn, DefaultClause
from sqlalchemy.sql.elements import ColumnElement

from harness.errors import SchemaMismatch
from harness.store.schema import CHANGES, METADATA, MIGRATIONS, SCHEMA, VERSION

Filling = Callable[[Connection], None]

FILLINGS: Mapping[int, Filling] = {}
"""What a version does besides adding columns and tables: fills the new ones from what is there."""


def bring_up(connection: Connection, place: str) -> None:
    """Make an empty database, or one of an older version, one of ours of today.

    Tables, version number and the line about each change are in the caller's transaction: all of them or none.

    Raises:
        SchemaMismatch: written by a newer version, or not a store of ours at all.
    """
    if not inspect(connection).get_table_names():
        METADATA.create_all(connection)
        connection.execute(insert(SCHEMA), {"version": VERSION})
        return
    for version in range(require_version(connection, place) + 1, VERSION + 1):
        _add(connection, version)
        if version in FILLINGS:
            FILLINGS[version](connection)
        line = {"version": version, "change": CHANGES[version], "at_utc": datetime.now(UTC).isoformat()}
        connection.execute(insert(MIGRATIONS), line)
        connection.execute(update(SCHEMA), {"version": version})


def _add(connection: Connection, version: int) -> None:
    for table in METADATA.sorted_tables:
        if _since(table) == version:
            table.create(connection)
            continue
        for column in table.columns:
            if _since(column) == version:
                definition = CreateColumn(column).compile(dialect=connection.dialect)
                name = connection.dialect.identifier_preparer.format_table(table)
                connection.exec_driver_sql(f"ALTER TABLE {name} ADD COLUMN {definition}")


def columns_at(table: Table, version: int) -> list[ColumnElement[Any]]:
    """All columns of a table of today, to be read from a store of any version: a later one stands for its default."""
    return [
        column if _since(column) <= version else literal(default_of(column), column.type).label(column.name)
        for column in table.columns
    ]


def has_table(table: Table, version: int) -> bool:
    """Whether a store of a version has a table at all."""
    return _since(table) <= version


def default_of(column: Column[Any]) -> Any:
    """What stands in a column that was added later, in the rows from before."""
    clause = column.server_default
    if not isinstance(clause, DefaultClause):
        return None
    return column.type.python_type(str(clause.arg))


def _since(part: Column[Any] | Table) -> int:
    return int(part.info.get("since", 1))


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
