"""`gainladder store`: what its commands say, and how they end."""

from __future__ import annotations

import sqlite3

import pytest

from harness.app import forwarding
from harness.store import Forwarder, Waiting, open_store
from harness.store.schema import VERSION
from tests.store.freeze import RUN, FrozenClock, the_reading, write


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


def test_a_forwarding_says_what_was_sent(gainladder, path, tmp_path):
    target = tmp_path / "server.sqlite"
    ended = gainladder("store", "forward", str(target), "--store", str(path))
    sent = "3 readings and 2 lines of journal of 1 runs sent, 0 readings and 0 lines of journal of 0 runs waiting"
    assert (ended.code, ended.out.strip()) == (0, f"{target}: {sent}")
    again = gainladder("store", "forward", str(target), "--store", str(path), "--again", "--json").json
    assert again["sent"] == {"runs": 1, "readings": 0, "events": 0}
    with open_store(str(target), read_only=True) as there:
        assert (there.info(RUN).readings, there.check().faults) == (3, ())
    assert "waiting" not in gainladder("runs", "--store", str(path)).err


def test_a_server_that_is_away_loses_nothing(gainladder, path, tmp_path):
    target = tmp_path / "none" / "server.sqlite"
    ended = gainladder("store", "forward", str(target), "--store", str(path))
    assert ended.code == 3
    assert "there is no folder" in ended.err
    assert "nothing is lost: 3 readings and 2 lines of journal of 1 runs waiting" in ended.err


def test_what_waits_is_listed_with_the_runs(gainladder, path, tmp_path):
    target = tmp_path / "server.sqlite"
    gainladder("store", "forward", str(target), "--store", str(path))
    with open_store(str(path)) as store:
        store.resume(RUN, FrozenClock()).record(the_reading(3, VERSION))
    ended = gainladder("runs", "--store", str(path))
    words = "1 readings and 1 lines of journal of 1 runs waiting; see `gainladder store forward`"
    assert f"{target}: {words}" in ended.err


class Days:
    """A clock on which something happens at each pause; then Ctrl-C."""

    def __init__(self, *events):
        self.events = list(events)
        self.pauses_s = []

    def sleep(self, seconds):
        self.pauses_s.append(seconds)
        if not self.events:
            raise KeyboardInterrupt
        self.events.pop(0)()


def test_a_run_is_followed_while_its_server_comes_and_goes(postgres_server, path, capsys):
    postgres_server.sql("CREATE SCHEMA followed")
    url = postgres_server.url("followed")
    with open_store(str(path)) as store, Forwarder(store, url) as forwarder:
        recorder = store.resume(RUN, FrozenClock())

        def record(*indices):
            for index in indices:
                recorder.record(the_reading(index, VERSION))

        def nothing():
            pass

        days = Days(
            lambda: record(3, 4),
            lambda: (postgres_server.stop(), record(5)),
            lambda: record(6),
            nothing,
            lambda: (postgres_server.start(), record(7)),
            nothing,
        )
        try:
            sent = forwarding.follow(forwarder, days)
        finally:
            postgres_server.stop()
            postgres_server.start()
        assert sent == Waiting(runs=1, readings=8, events=3)
        assert forwarder.waiting() == Waiting()
    assert days.pauses_s == [0.5, 0.5, 1.0, 2.0, 4.0, 0.5, 0.5]
    said = capsys.readouterr().err.splitlines()
    assert [line.split(": ", 1)[1] for line in said if "sent" in line or "waiting" in line] == [
        "3 readings and 3 lines of journal of 1 runs sent",
        "2 readings and 0 lines of journal of 1 runs sent",
        "away; 1 readings and 0 lines of journal of 1 runs waiting",
        "away; 2 readings and 0 lines of journal of 1 runs waiting",
        "3 readings and 0 lines of journal of 1 runs sent",
    ]
    with open_store(url, read_only=True) as server:
        assert [one.index for one in server.readings(RUN)] == list(range(8))
        assert server.check().faults == ()


def test_following_ends_with_what_waits_as_its_code(gainladder, path, tmp_path, monkeypatch):
    monkeypatch.setattr("harness.drivers.RealClock.sleep", Days().sleep)
    for target, code in ((tmp_path / "server.sqlite", 0), (tmp_path / "none" / "server.sqlite", 3)):
        assert gainladder("store", "forward", str(target), "--store", str(path), "--follow").code == code


def test_an_export_is_counted(gainladder, path, tmp_path):
    pytest.importorskip("pyarrow", reason="pyarrow is not installed: pip install 'gainladder[parquet]'")
    ended = gainladder("store", "export", "--parquet", str(tmp_path / "out"), "--store", str(path))
    assert (ended.code, ended.out.strip()) == (0, f"{tmp_path / 'out'}: 1 runs, 3 readings in 7 files")
    assert (tmp_path / "out" / "readings" / f"{RUN}.parquet").is_file()
