"""`gainladder store`: what its commands say, and how they end."""

from __future__ import annotations

import sqlite3

import pytest

from harness.store import open_store
from tests.store.freeze import RUN, write


@pytest.fixture
def path(tmp_path):
    """A small store with one run of three readings."""
    write(tmp_path / "runs.sqlite")
    return tmp_path / "runs.sqlite"


def test_a_whole_store_is_said_to_be_whole(gainladder, path):
    ended = gainladder("store", "check", "--store", str(path))
    assert ended.code == 0
    assert f"{path}: whole; 1 runs, 3 readings, 2 lines of journal" in ended.out
    assert gainladder("store", "check", "--store", str(path), "--json").json["faults"] == []


def test_a_changed_reading_is_named_and_the_code_is_3(gainladder, path):
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE readings SET fine = 9 WHERE reading = 1")
    connection.close()
    ended = gainladder("store", "check", "--store", str(path))
    assert ended.code == 3
    assert f"fault: run {RUN}: reading 1 was changed after it was recorded" in ended.out
    assert "1 faults: keep a copy, restore from a backup" in ended.out
    assert gainladder("store", "check", "--store", str(path), "--json").code == 3


def test_a_backup_is_counted(gainladder, path, tmp_path):
    target = tmp_path / "copy.sqlite"
    ended = gainladder("store", "backup", str(target), "--store", str(path))
    assert (ended.code, ended.out.strip()) == (0, f"{target}: 1 runs, 3 readings")
    with open_store(str(target), read_only=True) as copy:
        assert copy.check().faults == ()
    assert gainladder("store", "backup", str(path), "--store", str(path)).code == 2
