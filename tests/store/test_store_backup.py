"""A backup is whole, or it is not there; it destroys nothing."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from harness.errors import SchemaMismatch, StoreUnavailable, UsageError
from harness.store import open_store

ROOT = Path(__file__).parents[2]
CHILD = Path(__file__).parent / "writing_child.py"


@pytest.fixture
def store(path, clock, make_header, make_reading):
    with open_store(str(path)) as opened:
        recorder = opened.begin(make_header("r"), clock)
        for index in range(5):
            recorder.record(make_reading(index, samples=20))
        yield opened


def test_a_backup_reads_as_the_store(store, tmp_path, is_same):
    target = tmp_path / "copy.sqlite"
    store.backup(target)
    assert {entry.name for entry in tmp_path.iterdir()} >= {"copy.sqlite"}
    assert not [entry.name for entry in tmp_path.iterdir() if entry.name.startswith((".copy", "copy.sqlite-"))]
    with open_store(str(target), read_only=True) as copy:
        assert copy.runs() == store.runs()
        assert copy.check().faults == ()
        assert all(is_same(left, right) for left, right in zip(copy.readings("r"), store.readings("r"), strict=True))


def test_a_backup_while_another_process_records(path, tmp_path):
    # The copies hold what was announced before each began, in an unbroken chain, and the recording goes on.
    with subprocess.Popen(
        [sys.executable, str(CHILD), str(path), "r"], cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as child:
        try:
            for number in range(3):
                for _ in range(40):
                    announced = int(child.stdout.readline())
                target = tmp_path / f"copy-{number}.sqlite"
                with open_store(str(path), read_only=True) as store:
                    store.backup(target)
                with open_store(str(target), read_only=True) as copy:
                    assert copy.info("r").readings > announced
                    assert copy.check().faults == ()
            assert int(child.stdout.readline()) > announced
        finally:
            child.kill()


def test_an_older_backup_is_replaced(store, tmp_path, clock, make_header):
    target = tmp_path / "copy.sqlite"
    target.touch()
    store.backup(target)
    store.begin(make_header("later"), clock)
    store.backup(target)
    with open_store(str(target), read_only=True) as copy:
        assert [info.header.run_id for info in copy.runs()] == ["later", "r"]


def test_a_backup_destroys_no_other_run(store, tmp_path, clock, make_header):
    target = tmp_path / "other.sqlite"
    with open_store(str(target)) as other:
        other.begin(make_header("elsewhere"), clock)
    words = "is there already and holds 1 runs that this store has not, such as elsewhere; allowed is a new file"
    with pytest.raises(UsageError, match=words):
        store.backup(target)
    with open_store(str(target), read_only=True) as other:
        assert len(other.runs()) == 1


def test_a_backup_onto_the_store_itself(store, path, tmp_path):
    (tmp_path / "link.sqlite").symlink_to(path)
    for target in (path, tmp_path / "link.sqlite"):
        with pytest.raises(UsageError, match="this is the store itself; allowed is another file"):
            store.backup(target)


def test_a_backup_into_nowhere(store, tmp_path):
    with pytest.raises(StoreUnavailable, match=r"backup .*: there is no folder .*none: create it"):
        store.backup(tmp_path / "none" / "copy.sqlite")
    with pytest.raises(UsageError, match=r"got a folder; allowed is a file in it, such as .*runs\.db"):
        store.backup(tmp_path)


def test_a_backup_onto_another_file(store, tmp_path):
    text = tmp_path / "notes.txt"
    text.write_text("notes " * 1000)
    with pytest.raises(StoreUnavailable, match="the file is not a database"):
        store.backup(text)
    foreign = tmp_path / "foreign.sqlite"
    with sqlite3.connect(foreign) as connection:
        connection.execute("CREATE TABLE people (name)")
    connection.close()
    with pytest.raises(SchemaMismatch, match=r"not one of gainladder \(tables: people\)"):
        store.backup(foreign)
    assert text.read_text() == "notes " * 1000


def test_a_copy_that_is_not_whole_replaces_nothing(store, path, tmp_path):
    target = tmp_path / "copy.sqlite"
    store.backup(target)
    before = target.read_bytes()
    store.close()
    whole = bytearray(path.read_bytes())
    whole[36:40] = (5).to_bytes(4, "big")  # pages on the free list
    path.write_bytes(whole)
    with (
        open_store(str(path), read_only=True) as damaged,
        pytest.raises(StoreUnavailable, match=r"the copy is not whole \(.*\): see `gainladder store check`"),
    ):
        damaged.backup(target)
    assert target.read_bytes() == before
    assert not [entry for entry in tmp_path.iterdir() if entry.name.startswith(".copy")]


def test_a_closed_store_is_not_copied(store, tmp_path):
    store.close()
    with pytest.raises(StoreUnavailable, match=r"backing up to .*: the store was closed"):
        store.backup(tmp_path / "copy.sqlite")
