"""The tables, and the version number that is written in the same transaction as they are."""

from __future__ import annotations

from sqlalchemy import (
    Column,
    Connection,
    Double,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    insert,
    inspect,
    select,
    update,
)

from harness.errors import SchemaMismatch

VERSION = 1

METADATA = MetaData()

SCHEMA = Table("schema_version", METADATA, Column("version", Integer, nullable=False))

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


def create_if_new(connection: Connection) -> None:
    """Tables and version number into an empty database; the caller's transaction holds both."""
    if inspect(connection).get_table_names():
        return
    METADATA.create_all(connection)
    connection.execute(insert(SCHEMA), {"version": VERSION})


def prove_writable(connection: Connection) -> None:
    """Write something that changes nothing: on a read-only file the lock alone is granted all the same."""
    connection.execute(update(SCHEMA).values(version=SCHEMA.c.version))


def require_new_or_ours(connection: Connection, place: str) -> None:
    """Let an empty database pass, else as `require_version`.

    Raises:
        SchemaMismatch: written by another version, or not a store of ours at all.
    """
    if inspect(connection).get_table_names():
        require_version(connection, place)


def require_version(connection: Connection, place: str) -> None:
    """Refuse a database of another making.

    Raises:
        SchemaMismatch: written by another version, or not a store of ours at all.
    """
    names = inspect(connection).get_table_names()
    if SCHEMA.name not in names:
        raise SchemaMismatch(
            f"store {place}: a database, but not one of gainladder (tables: {', '.join(names) or 'none'}): "
            "name another store with --store"
        )
    found = connection.execute(select(SCHEMA.c.version)).scalars().all()
    if list(found) != [VERSION]:
        raise SchemaMismatch(
            f"store {place}: schema version {', '.join(map(str, found)) or 'missing'}; this gainladder reads version "
            f"{VERSION}: use the gainladder that wrote it, or name another store with --store"
        )
