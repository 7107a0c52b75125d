"""A store of every older schema opens; one of a newer schema is refused."""

from __future__ import annotations

import shutil
import sqlite3

import pytest
from sqlalchemy import select

from harness.errors import SchemaMismatch
from harness.store import migrate, open_store, schema
from harness.store.schema import CHANGES, METADATA, VERSION
from tests.store.freeze import READINGS, RUN, FrozenClock, frozen, the_header, the_reading, write

VERSIONS = sorted(CHANGES)


def rows(path, statement):
    connection = sqlite3.connect(path)
    found = connection.execute(statement).fetchall()
    connection.close()
    return found


def layout(path):
    """Tables with their columns: name, type, whether needed, default, part of the key."""
    tables = [row[0] for row in rows(path, "SELECT name FROM sqlite_master WHERE type = 'table'")]
    return {table: {row[1:] for row in rows(path, f"PRAGMA table_info({table})")} for table in tables}


@pytest.fixture(params=VERSIONS)
def old(request, tmp_path):
    """A copy of the frozen store of a version, and the version."""
    return shutil.copy(frozen(request.param), tmp_path / "old.sqlite"), request.param


def test_each_version_has_its_frozen_store():
    assert list(range(1, VERSION + 1)) == VERSIONS
    assert [rows(frozen(version), "SELECT version FROM schema_version") for version in VERSIONS] == [
        [(version,)] for version in VERSIONS
    ]


@pytest.mark.parametrize("read_only", [True, False])
def test_an_older_store_reads_as_it_was_written(old, read_only, is_same):
    path, version = old
    with open_store(str(path), read_only=read_only) as store:
        (info,) = store.runs()
        again = list(store.readings(store.resolve("last")))
        events = store.events(RUN)
    assert (info.header, info.end, info.readings) == (the_header(version), "interrupted", READINGS)
    written = [the_reading(index, version) for index in range(READINGS)]
    assert all(is_same(left, right) for left, right in zip(written, again, strict=True))
    lines = [("retry", "source: no answer"), ("interrupted", "Ctrl-C")]
    since_10 = [("raw-data", "raw data of 1 of 3 readings dropped")] if version >= 10 else []
    assert [(event.kind, event.text) for event in events] == [*lines, *since_10]


def test_reading_only_changes_nothing(old):
    path, version = old
    before = path.read_bytes()
    with open_store(str(path), read_only=True) as store:
        list(store.readings(RUN))
        assert bool(store.mark(RUN)) == (version >= 4)
    assert path.read_bytes() == before
    assert rows(path, "SELECT version FROM schema_version") == [(version,)]


def test_an_older_store_becomes_one_of_today(old, tmp_path, is_same):
    path, version = old
    with open_store(str(path)) as store:
        recorder = store.resume(RUN, FrozenClock())
        recorder.record(the_reading(READINGS, VERSION))
        recorder.finish("finished")
        assert is_same(list(store.readings(RUN))[-1], the_reading(READINGS, VERSION))
        assert store.check().faults == ()
    write(tmp_path / "new.sqlite")
    assert layout(path) == layout(tmp_path / "new.sqlite")
    assert rows(path, "SELECT version FROM schema_version") == [(VERSION,)]
    told = rows(path, f"SELECT version, change FROM migrations WHERE version > {version} ORDER BY version")
    assert told == [(number, CHANGES[number]) for number in VERSIONS if number > version]


def test_a_change_that_fails_leaves_the_old_store_whole(tmp_path, monkeypatch):
    path = shutil.copy(frozen(1), tmp_path / "old.sqlite")

    def fill(connection, version):
        assert version == VERSION
        connection.execute(select(METADATA.tables["migrations"]))
        raise KeyboardInterrupt

    monkeypatch.setattr(migrate, "FILLINGS", {VERSION: fill})
    before = layout(path)
    with pytest.raises(KeyboardInterrupt):
        open_store(str(path))
    assert layout(path) == before
    assert rows(path, "SELECT version FROM schema_version") == [(1,)]
    monkeypatch.undo()
    with open_store(str(path)) as store:
        assert store.info(RUN).readings == READINGS


def test_a_newer_store_is_refused(path):
    open_store(str(path)).close()
    connection = sqlite3.connect(path)
    connection.execute(f"UPDATE schema_version SET version = {VERSION + 5}")
    connection.commit()
    connection.close()
    words = (
        rf"schema version {VERSION + 5}; this gainladder knows versions 1 to {VERSION}: use the newer gainladder that "
        "wrote it, or name another store with --store"
    )
    for read_only in (True, False):
        with pytest.raises(SchemaMismatch, match=words):
            open_store(str(path), read_only=read_only)


@pytest.mark.parametrize(("statement", "found"), [("DELETE FROM", "missing"), ("INSERT INTO {} VALUES (0); --", "0")])
def test_a_version_that_is_none_is_refused(path, statement, found):
    open_store(str(path)).close()
    connection = sqlite3.connect(path)
    connection.executescript("DELETE FROM schema_version;" + statement.format("schema_version") + " schema_version")
    connection.close()
    with pytest.raises(SchemaMismatch, match=f"schema version {found}; .*use the gainladder that wrote it"):
        open_store(str(path))


def test_what_comes_later_can_be_added_to_what_is_there():
    # The rows that are there get a value without anybody thinking one up.
    for table in METADATA.sorted_tables:
        for column in table.columns:
            if column.info.get("since", 1) > table.info.get("since", 1):
                assert column.nullable or column.server_default is not None, column
                assert not column.foreign_keys, column
                assert not column.primary_key, column


def test_a_mark_is_of_a_version_that_is_told():
    marks = {part.info["since"] for table in METADATA.sorted_tables for part in (table, *table.columns) if part.info}
    assert marks <= set(schema.CHANGES)
