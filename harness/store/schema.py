"""The tables as they are now, and since which version of the schema each of them has been there.

A change of the schema only ever adds. To add a column or a table: a line in `CHANGES`, `info=since(VERSION)` at the new
column, which must be nullable or have a `server_default`, and a frozen file of the new version
(`python -m tests.store.freeze`). `migrate` does the rest: older stores get the column when they are opened for writing,
and are read as if they had it when they are opened for reading only.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Column, Double, ForeignKey, Integer, LargeBinary, MetaData, Table, Text, literal
from sqlalchemy.schema import DefaultClause
from sqlalchemy.sql.elements import ColumnElement

CHANGES = {
    1: "runs, their files, readings, journal",
    2: "a table that tells when the schema was changed",
    3: "what a reading was taken for, and what the source of another channel did meanwhile",
    4: "a chain of hashes over the readings of a run",
}
"""What each version brought, for the table of migrations."""

VERSION = max(CHANGES)


def since(version: int) -> dict[str, int]:
    """Marks a column or a table with the version that brought it; without a mark it is of the first."""
    return {"since": version}


METADATA = MetaData()

SCHEMA = Table("schema_version", METADATA, Column("version", Integer, nullable=False))

MIGRATIONS = Table(
    "migrations",
    METADATA,
    Column("version", Integer, primary_key=True),
    Column("change", Text, nullable=False),
    Column("at_utc", Text, nullable=False),
    info=since(2),
)

FILES = Table(
    "files",
    METADATA,
    Column("sha256", Text, primary_key=True),
    Column("text", Text, nullable=False),
)

RUNS = Table(
    "runs",
    METADATA,
    # Order of beginning: the wall clock may be set back, this number is not.
    Column("number", Integer, primary_key=True),
    Column("run_id", Text, nullable=False, unique=True),
    Column("unit", Text, nullable=False),
    Column("operator", Text, nullable=False),
    Column("started_utc", Text, nullable=False),
    Column("mode", Text, nullable=False),
    # As text: a root seed may have 128 bits.
    Column("seed", Text),
    Column("faults", Text, nullable=False),
    Column("planned", Integer, nullable=False),
    Column("identities", Text, nullable=False),
    Column("software", Text, nullable=False),
    Column("finished_utc", Text, nullable=False, server_default=""),
    Column("end", Text, nullable=False, server_default=""),
    # The hash of the reading recorded last, the header's before the first one; and how many there are.
    Column("chain_head", Text, nullable=False, server_default="", info=since(4)),
    Column("chain_length", Integer, nullable=False, server_default="0", info=since(4)),
)

RUN_FILES = Table(
    "run_files",
    METADATA,
    Column("run", ForeignKey("runs.number"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("role", Text, nullable=False),
    Column("path", Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("sha256", ForeignKey("files.sha256"), nullable=False),
)

READINGS = Table(
    "readings",
    METADATA,
    Column("run", ForeignKey("runs.number"), primary_key=True),
    Column("reading", Integer, primary_key=True),
    Column("channel", Integer, nullable=False),
    Column("coarse", Integer, nullable=False),
    Column("fine", Integer, nullable=False),
    Column("direction", Text, nullable=False),
    Column("attempt", Integer, nullable=False),
    Column("status", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("drive_set_vpk", Double, nullable=False),
    Column("drive_read_vpk", Double, nullable=False),
    Column("frequency_hz", Double, nullable=False),
    Column("capture_reason", Text, nullable=False),
    Column("read_back", Text, nullable=False),
    Column("messages", Text, nullable=False),
    Column("started_utc", Text, nullable=False),
    Column("started_s", Double, nullable=False),
    Column("duration_s", Double, nullable=False),
    # The waveform; all empty when nothing was fetched.
    Column("samples", Integer),
    Column("codes", LargeBinary),
    Column("sample_rate_hz", Double),
    Column("scale_v_per_code", Double),
    Column("sequence", Integer),
    Column("acquisition", Text),
    # The capture; all empty when there was none.
    Column("bus_events", Integer),
    Column("bus_times_ns", LargeBinary),
    Column("bus_levels", LargeBinary),
    Column("bus_unknown", LargeBinary),
    Column("bus_initial", Integer),
    Column("bus_lines", Text),
    Column("bus_dropped", Integer),
    Column("purpose", Text, nullable=False, server_default="ladder", info=since(3)),
    # Of the source of another channel; 0 where there is none.
    Column("aggressor_vpk", Double, nullable=False, server_default="0.0", info=since(3)),
    Column("aggressor_hz", Double, nullable=False, server_default="0.0", info=since(3)),
    # The chain: of the row recorded before, and of this row with that hash.
    Column("previous_hash", Text, info=since(4)),
    Column("own_hash", Text, info=since(4)),
)

EVENTS = Table(
    "events",
    METADATA,
    Column("number", Integer, primary_key=True),
    Column("run", ForeignKey("runs.number"), nullable=False, index=True),
    Column("at_utc", Text, nullable=False),
    Column("at_s", Double, nullable=False),
    Column("kind", Text, nullable=False),
    Column("text", Text, nullable=False),
)


def columns_at(table: Table, version: int) -> list[ColumnElement[Any]]:
    """All columns of a table of today, to be read from a store of any version: a later one stands for its default."""
    return [
        column if since_of(column) <= version else literal(default_of(column), column.type).label(column.name)
        for column in table.columns
    ]


def default_of(column: Column[Any]) -> Any:
    """What stands in a column that was added later, in the rows from before."""
    clause = column.server_default
    if not isinstance(clause, DefaultClause):
        return None
    return column.type.python_type(str(clause.arg))


def since_of(part: Column[Any] | Table) -> int:
    """The version that brought a column or a table."""
    return int(part.info.get("since", 1))
