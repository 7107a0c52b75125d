"""The tables as they are now, and since which version of the schema each of them has been there.

A change of the schema only ever adds. To add a column or a table: a line in `CHANGES`, `info=since(VERSION)` at the new
column, which must be nullable or have a `server_default`, and a frozen file of the new version
(`python -m tests.store.freeze`). `migrate` does the rest: older stores get the column when they are opened for writing,
and are read as if they had it when they are opened for reading only.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Column, Double, ForeignKey, LargeBinary, MetaData, Table, cast, literal, null
from sqlalchemy.schema import DefaultClause
from sqlalchemy.sql.elements import ColumnElement

from harness.store.types import WHOLE, AnyText

CHANGES = {
    1: "runs, their files, readings, journal",
    2: "a table that tells when the schema was changed",
    3: "what a reading was taken for, and what the source of another channel did meanwhile",
    4: "a chain of hashes over the readings of a run",
    5: "how much of each run was forwarded, and where to",
    6: "the level that a reference meter reads",
    7: "which part of a night a run is",
    8: "a chain of hashes over the journal of a run",
    9: "the steady levels of a reading at DC",
    10: "what is kept of raw data that were dropped",
    11: "how many records make a reading, and why no more",
    12: "each run in short, for statistics over many",
}
"""What each version brought, for the table of migrations."""

VERSION = max(CHANGES)


def since(version: int) -> dict[str, int]:
    """Marks a column or a table with the version that brought it; without a mark it is of the first."""
    return {"since": version}


METADATA = MetaData()

SCHEMA = Table("schema_version", METADATA, Column("version", WHOLE, nullable=False))

MIGRATIONS = Table(
    "migrations",
    METADATA,
    Column("version", WHOLE, primary_key=True),
    Column("change", AnyText, nullable=False),
    Column("at_utc", AnyText, nullable=False),
    info=since(2),
)

FILES = Table(
    "files",
    METADATA,
    Column("sha256", AnyText, primary_key=True),
    Column("text", AnyText, nullable=False),
)

RUNS = Table(
    "runs",
    METADATA,
    # Order of beginning: the wall clock may be set back, this number is not.
    Column("number", WHOLE, primary_key=True),
    Column("run_id", AnyText, nullable=False, unique=True),
    Column("unit", AnyText, nullable=False),
    Column("operator", AnyText, nullable=False),
    Column("started_utc", AnyText, nullable=False),
    Column("mode", AnyText, nullable=False),
    # As text: a root seed may have 128 bits.
    Column("seed", AnyText),
    Column("faults", AnyText, nullable=False),
    Column("planned", WHOLE, nullable=False),
    Column("identities", AnyText, nullable=False),
    Column("software", AnyText, nullable=False),
    Column("finished_utc", AnyText, nullable=False, server_default=""),
    Column("end", AnyText, nullable=False, server_default=""),
    # The hash of the reading recorded last, the header's before the first one; and how many there are.
    Column("chain_head", AnyText, nullable=False, server_default="", info=since(4)),
    Column("chain_length", WHOLE, nullable=False, server_default="0", info=since(4)),
    # JSON; empty for a run by itself.
    Column("night", AnyText, nullable=False, server_default="", info=since(7)),
    # As those of the readings, for the journal.
    Column("journal_head", AnyText, nullable=False, server_default="", info=since(8)),
    Column("journal_length", WHOLE, nullable=False, server_default="0", info=since(8)),
)

RUN_FILES = Table(
    "run_files",
    METADATA,
    Column("run", ForeignKey("runs.number"), primary_key=True),
    Column("position", WHOLE, primary_key=True),
    Column("role", AnyText, nullable=False),
    Column("path", AnyText, nullable=False),
    Column("version", WHOLE, nullable=False),
    Column("sha256", ForeignKey("files.sha256"), nullable=False),
)

READINGS = Table(
    "readings",
    METADATA,
    Column("run", ForeignKey("runs.number"), primary_key=True),
    Column("reading", WHOLE, primary_key=True),
    Column("channel", WHOLE, nullable=False),
    Column("coarse", WHOLE, nullable=False),
    Column("fine", WHOLE, nullable=False),
    Column("direction", AnyText, nullable=False),
    Column("attempt", WHOLE, nullable=False),
    Column("status", AnyText, nullable=False),
    Column("reason", AnyText, nullable=False),
    Column("drive_set_vpk", Double, nullable=False),
    Column("drive_read_vpk", Double, nullable=False),
    Column("frequency_hz", Double, nullable=False),
    Column("capture_reason", AnyText, nullable=False),
    Column("read_back", AnyText, nullable=False),
    Column("messages", AnyText, nullable=False),
    Column("started_utc", AnyText, nullable=False),
    Column("started_s", Double, nullable=False),
    Column("duration_s", Double, nullable=False),
    # The waveform; all empty when nothing was fetched.
    Column("samples", WHOLE),
    Column("codes", LargeBinary),
    Column("sample_rate_hz", Double),
    Column("scale_v_per_code", Double),
    Column("sequence", WHOLE),
    Column("acquisition", AnyText),
    # The capture; all empty when there was none.
    Column("bus_events", WHOLE),
    Column("bus_times_ns", LargeBinary),
    Column("bus_levels", LargeBinary),
    Column("bus_unknown", LargeBinary),
    Column("bus_initial", WHOLE),
    Column("bus_lines", AnyText),
    Column("bus_dropped", WHOLE),
    Column("purpose", AnyText, nullable=False, server_default="ladder", info=since(3)),
    # Of the source of another channel; 0 where there is none.
    Column("aggressor_vpk", Double, nullable=False, server_default="0.0", info=since(3)),
    Column("aggressor_hz", Double, nullable=False, server_default="0.0", info=since(3)),
    # Of the reference meter; empty where there is none.
    Column("meter_vpk", Double, info=since(6)),
    # JSON; empty for a sine.
    Column("steady_v", AnyText, nullable=False, server_default="", info=since(9)),
    # Where several records make a reading.
    Column("records", WHOLE, nullable=False, server_default="1", info=since(11)),
    Column("stopped", AnyText, nullable=False, server_default="", info=since(11)),
    # The chain: of the row recorded before, and of this row with that hash.
    Column("previous_hash", AnyText, info=since(4)),
    Column("own_hash", AnyText, info=since(4)),
)

EVENTS = Table(
    "events",
    METADATA,
    Column("number", WHOLE, primary_key=True),
    Column("run", ForeignKey("runs.number"), nullable=False, index=True),
    Column("at_utc", AnyText, nullable=False),
    Column("at_s", Double, nullable=False),
    Column("kind", AnyText, nullable=False),
    Column("text", AnyText, nullable=False),
    Column("previous_hash", AnyText, info=since(8)),
    Column("own_hash", AnyText, info=since(8)),
)

# Raw data that were dropped after they were judged: their hashes, and the numbers that they gave.
DROPPED = Table(
    "dropped",
    METADATA,
    Column("run", ForeignKey("runs.number"), primary_key=True),
    Column("reading", WHOLE, primary_key=True),
    Column("at_utc", AnyText, nullable=False),
    Column("rule", AnyText, nullable=False),
    Column("outcome", AnyText, nullable=False),
    # The hash of the limits file.
    Column("limits", AnyText, nullable=False),
    # JSON, both.
    Column("numbers", AnyText, nullable=False),
    Column("blobs", AnyText, nullable=False),
    Column("own_hash", AnyText, nullable=False),
    info=since(10),
)

# Each judged run in short: an opinion, made anew from the readings at any time, so in no chain.
SUMMARIES = Table(
    "summaries",
    METADATA,
    Column("run", ForeignKey("runs.number"), primary_key=True),
    Column("at_utc", AnyText, nullable=False),
    Column("software", AnyText, nullable=False),
    # The hash of the limits file.
    Column("limits", AnyText, nullable=False),
    Column("verdict", AnyText, nullable=False),
    Column("complete", WHOLE, nullable=False),
    Column("seconds", Double),
    Column("tested", WHOLE, nullable=False),
    Column("failing", WHOLE, nullable=False),
    # JSON: items, diagnoses, causes of INVALID, numbers to follow.
    Column("facts", AnyText, nullable=False),
    info=since(12),
)

# What another store has confirmed to hold. Less than the truth after a death in between: then it is asked again.
FORWARDED = Table(
    "forwarded",
    METADATA,
    Column("target", AnyText, primary_key=True),
    Column("run", ForeignKey("runs.number"), primary_key=True),
    Column("readings", WHOLE, nullable=False),
    Column("events", WHOLE, nullable=False),
    Column("end", AnyText, nullable=False),
    # When the summary was made that it holds; empty without one.
    Column("summary", AnyText, nullable=False, server_default="", info=since(12)),
    info=since(5),
)


def columns_at(table: Table, version: int) -> list[ColumnElement[Any]]:
    """All columns of a table of today, to be read from a store of any version: a later one stands for its default."""
    return [column if since_of(column) <= version else _stand_in(column) for column in table.columns]


def _stand_in(column: Column[Any]) -> ColumnElement[Any]:
    default = default_of(column)
    # PostgreSQL takes a bare NULL for text, and its driver then reads no number from it.
    value = cast(null(), column.type) if default is None else literal(default, column.type)
    return value.label(column.name)


def default_of(column: Column[Any]) -> Any:
    """What stands in a column that was added later, in the rows from before."""
    clause = column.server_default
    if not isinstance(clause, DefaultClause):
        return None
    return column.type.python_type(str(clause.arg))


def since_of(part: Column[Any] | Table) -> int:
    """The version that brought a column or a table."""
    return int(part.info.get("since", 1))
