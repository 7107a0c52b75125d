"""Whatever is changed, removed or put in behind the store's back is found and named."""

from __future__ import annotations

import hashlib
import json
import sqlite3

import pytest

from harness.errors import StoreError
from harness.store import open_store
from harness.store.chain import header_hash, row_hash
from harness.store.check import CHAINED
from harness.store.schema import READINGS, VERSION, default_of, since_of
from tests.store.freeze import READINGS as FROZEN
from tests.store.freeze import frozen

COUNT = 8
RUN = "20261125T100000Z-c4a1"


@pytest.fixture
def whole(path, clock, make_header, make_reading):
    """A store with a run of eight readings and another of two."""
    with open_store(str(path)) as store:
        for run_id, count in ((RUN, COUNT), ("other", 2)):
            recorder = store.begin(make_header(run_id), clock)
            for index in range(count):
                recorder.record(make_reading(index, samples=20))
            recorder.note("retry", "")
            recorder.finish("finished")
    return path


def tamper(path, *statements):
    connection = sqlite3.connect(path)
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()


def faults(path):
    with open_store(str(path), read_only=True) as store:
        return list(store.check().faults)


def test_a_whole_store(whole):
    with open_store(str(whole), read_only=True) as store:
        found = store.check()
    assert (found.runs, found.readings, found.events, found.chained, found.faults) == (2, COUNT + 2, 4, True, ())


def test_the_hash_is_the_one_that_is_written_down(whole):
    # Computed by other means, from the row as the bare driver gives it: SHA-256 of [previous, {column: value}] as JSON,
    # columns by name, blobs by their own SHA-256, a
    # column that came later only when it is not at its default.
    connection = sqlite3.connect(whole)
    connection.row_factory = sqlite3.Row
    for row in connection.execute("SELECT * FROM readings"):
        content = {
            name: {"sha256": hashlib.sha256(row[name]).hexdigest()} if isinstance(row[name], bytes) else row[name]
            for name in sorted(row.keys())
            if name not in ("run", "previous_hash", "own_hash")
            and (since_of(READINGS.c[name]) == 1 or row[name] != default_of(READINGS.c[name]))
        }
        text = json.dumps([row["previous_hash"], content], separators=(",", ":"))
        assert row["own_hash"] == hashlib.sha256(text.encode()).hexdigest()
    connection.close()


@pytest.mark.parametrize(
    "change",
    [
        "drive_set_vpk = drive_set_vpk + 1e-12", "status = 'valid'", "reason = ''", "channel = 1", "messages = '[]'",
        "codes = (SELECT codes FROM readings WHERE reading = 5)", "started_utc = ''", "bus_initial = NULL",
        "drive_read_vpk = 'much'", "reason = x'00'",
    ],
)  # fmt: skip
def test_a_changed_row_is_named(whole, change):
    tamper(whole, f"UPDATE readings SET {change} WHERE reading = 4 AND run = 1")
    named = f"run {RUN}: reading 4 was changed after it was recorded: its hash is not that of its content"
    assert named in faults(whole)


def test_every_column_is_under_the_hash(whole):
    # A value of another kind in each column in turn: none is left out by an oversight.
    connection = sqlite3.connect(whole)
    connection.row_factory = sqlite3.Row
    row = dict(connection.execute("SELECT * FROM readings WHERE reading = 4 AND run = 1").fetchone())
    connection.close()
    for name in row.keys() - {"run", "previous_hash", "own_hash"}:
        assert row_hash({**row, name: "another"}, row["previous_hash"]) != row["own_hash"], name
    assert row_hash(row, "another") != row["own_hash"]


def test_a_changed_row_with_a_hash_that_fits_is_found_by_the_next(whole):
    connection = sqlite3.connect(whole)
    connection.row_factory = sqlite3.Row
    row = dict(connection.execute("SELECT * FROM readings WHERE reading = 4 AND run = 1").fetchone())
    connection.close()
    forged = row_hash({**row, "reason": "forged"}, row["previous_hash"])
    tamper(whole, f"UPDATE readings SET reason = 'forged', own_hash = '{forged}' WHERE reading = 4 AND run = 1")
    assert faults(whole) == [
        f"run {RUN}: reading 5 follows a reading that is not there: that one was removed or changed, or this one was "
        "put in"
    ]


@pytest.mark.parametrize(
    ("gone", "words"),
    [
        ("= 3", "reading 4 follows a reading that is not there (3 missing): that one was removed"),
        ("IN (3, 4)", "reading 5 follows a reading that is not there (3 to 4 missing): that one was removed"),
        ("= 0", "reading 1 follows a reading that is not there (0 missing): that one was removed"),
        ("= 7", "the reading recorded last is not there: the end was cut off (7 of 8 left)"),
        (">= 0", "the reading recorded last is not there: the end was cut off (0 of 8 left)"),
    ],
)
def test_a_removed_row_is_named(whole, gone, words):
    tamper(whole, f"DELETE FROM readings WHERE run = 1 AND reading {gone}")
    found = faults(whole)
    assert [fault for fault in found if fault.startswith(f"run {RUN}: {words}")], found
    assert any(fault.startswith(f"run {RUN}: 8 readings were recorded, ") for fault in found)
    assert not any("other" in fault for fault in found)


def copied(source, target, **changes):
    """An INSERT of a copy of a row under another index."""
    columns = [column.name for column in READINGS.columns]
    values = [str(target) if name == "reading" else changes.get(name, name) for name in columns]
    return (
        f"INSERT INTO readings ({', '.join(columns)}) SELECT {', '.join(values)} FROM readings "
        f"WHERE run = 1 AND reading = {source}"
    )


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        (copied(4, 50), "reading 50 was changed after it was recorded"),
        (copied(4, 50), "reading 50 has the hash of reading 4: one of them was put in"),
        (copied(4, 50), "readings 4 and 50 follow the same one: one of them was put in"),
        (copied(4, 50, own_hash="NULL"), "reading 50 carries no hash: it was put in by another program"),
        (copied(4, 50, previous_hash="'ab'"), "reading 50 follows a reading that is not there (8 to 49 missing)"),
    ],
)
def test_a_row_that_was_put_in_is_named(whole, statement, words):
    tamper(whole, statement)
    found = faults(whole)
    assert [fault for fault in found if fault.startswith(f"run {RUN}: {words}")], found
    assert f"run {RUN}: 8 readings were recorded, 9 are there" in found


def test_a_row_put_in_at_the_end_with_hashes_that_fit(whole):
    connection = sqlite3.connect(whole)
    connection.row_factory = sqlite3.Row
    row = dict(connection.execute("SELECT * FROM readings WHERE reading = 7 AND run = 1").fetchone())
    connection.close()
    own = row_hash({**row, "reading": 8}, row["own_hash"])
    tamper(whole, copied(7, 8, previous_hash=f"'{row['own_hash']}'", own_hash=f"'{own}'"))
    assert f"run {RUN}: reading 8 comes after the one recorded last: it was put in" in faults(whole)


@pytest.mark.parametrize("change", ["unit = 'B7'", "seed = 8", "faults = '[]'", "identities = '[]'"])
def test_a_changed_header_is_found(whole, change):
    tamper(whole, f"UPDATE runs SET {change} WHERE number = 1")
    words = f"run {RUN}: no reading follows the header: the header was changed, or the first reading was removed"
    assert words in faults(whole)


def test_a_changed_list_of_files_is_found(whole):
    tamper(whole, "UPDATE run_files SET version = 9 WHERE run = 1 AND role = 'job'")
    assert any("the header was changed" in fault for fault in faults(whole))


def test_a_changed_header_of_a_run_without_readings_is_found(path, clock, make_header):
    with open_store(str(path)) as store:
        store.begin(make_header("empty"), clock)
    assert faults(path) == []
    tamper(path, "UPDATE runs SET unit = 'B7'")
    assert faults(path) == ["run empty: the reading recorded last is not there: the end was cut off (0 of 0 left)"]


def test_a_changed_file_is_found(whole):
    tamper(whole, "UPDATE files SET text = text || ' '")
    found = faults(whole)
    assert len(found) == 2
    assert all(fault.startswith("configuration file ") and "its text was changed" in fault for fault in found)


def test_rows_of_no_run_are_found(whole):
    tamper(whole, "DELETE FROM runs WHERE number = 2")
    assert faults(whole)[-3:] == [
        "2 rows of readings belong to run number 2, which is not there",
        "2 rows of events belong to run number 2, which is not there",
        "2 rows of run_files belong to run number 2, which is not there",
    ]


def test_damage_inside_a_record_or_header_is_found(whole):
    tamper(whole, "UPDATE readings SET codes = x'00' WHERE reading = 1 AND run = 2", "UPDATE runs SET faults = '{'")
    found = faults(whole)
    assert any("run other, reading 1: the record is damaged (Error -" in fault for fault in found)
    assert any("run other: the header is damaged" in fault for fault in found)


def test_readings_recorded_out_of_order_are_chained(path, clock, make_header, make_reading):
    with open_store(str(path)) as store:
        recorder = store.begin(make_header("r"), clock)
        for index in (5, 2, 9, 0):
            recorder.record(make_reading(index, samples=4))
        recorder = store.resume("r", clock)
        recorder.record(make_reading(1, samples=4))
    assert faults(path) == []


def test_two_recorders_of_a_run_do_not_part_the_chain(path, clock, make_header, make_reading):
    with open_store(str(path)) as one, open_store(str(path)) as two:
        recorders = one.begin(make_header("r"), clock), two.resume("r", clock)
        for index in range(6):
            recorders[index % 2].record(make_reading(index, samples=4))
    assert faults(path) == []


def test_two_recorders_at_the_same_moment(path, clock, make_header, make_reading, monkeypatch):
    with open_store(str(path)) as store:
        recorder = store.begin(make_header("r"), clock)
        recorder.record(make_reading(0, samples=4))

        def meanwhile(row, previous):
            tamper(path, "UPDATE runs SET chain_head = random()")
            return "ab"

        monkeypatch.setattr("harness.store.recorder.row_hash", meanwhile)
        with pytest.raises(StoreError, match="run r, reading 1: another process records this run at the same moment"):
            recorder.record(make_reading(1, samples=4))
        assert store.info("r").readings == 1


def test_zero_has_no_sign(path, clock, make_header, make_reading):
    # SQLite keeps 0.0 as a whole number: the sign would be lost between recording and checking.
    with open_store(str(path)) as store:
        store.begin(make_header("r"), clock).record(make_reading(drive_set_vpk=-0.0))
    assert faults(path) == []


@pytest.mark.parametrize("version", range(1, CHAINED))
def test_an_older_store_is_checked_without_chain_and_with_it_once_brought_up(tmp_path, version):
    path = tmp_path / "old.sqlite"
    path.write_bytes(frozen(version).read_bytes())
    with open_store(str(path), read_only=True) as store:
        found = store.check()
        assert (found.version, found.chained, found.readings, found.faults) == (version, False, FROZEN, ())
    with open_store(str(path)) as store:
        found = store.check()
        assert (found.chained, found.faults) == (True, ())
    tamper(path, "UPDATE readings SET fine = fine + 1 WHERE reading = 1")
    assert any("reading 1 was changed" in fault for fault in faults(path))


def test_a_store_brought_up_has_the_hashes_of_one_recorded_today(tmp_path, path):
    # The frozen stores hold the same readings: the chain over them does not depend on when it was made.
    heads = set()
    for version in (1, 2):
        copy = tmp_path / f"{version}.sqlite"
        copy.write_bytes(frozen(version).read_bytes())
        with open_store(str(copy)) as store, store._reader.transaction("test") as connection:
            heads.add(connection.exec_driver_sql("SELECT chain_head FROM runs").scalar_one())
            assert header_hash(connection, 1, VERSION) == header_hash(connection, 1, 1)
    assert len(heads) == 1
