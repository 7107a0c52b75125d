"""The chain over a journal: a line that was changed, removed or put in is found, and so it is after forwarding."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from contextlib import closing

import pytest

from harness.store import Forwarder, open_store

RUN = "20261125T100000Z-aaaa"


def written(path, clock, make_header, make_reading):
    """A run with five lines in its journal."""
    with open_store(str(path)) as store:
        recorder = store.begin(make_header(RUN), clock)
        for number in range(4):
            recorder.note("anchor", f"+0.00{number} %")
        recorder.record(make_reading(0))
        recorder.finish("finished")
    return path


@pytest.fixture
def whole(path, clock, make_header, make_reading):
    return written(path, clock, make_header, make_reading)


def tamper(path, statement):
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(statement)
        connection.commit()


def faults(path):
    with open_store(str(path), read_only=True) as store:
        return list(store.check().faults)


def test_the_hash_is_the_one_that_is_written_down(whole):
    # SHA-256 of [previous, {column: value}] as JSON, columns by name, from the row as the bare driver gives it.
    with closing(sqlite3.connect(whole)) as connection:
        connection.row_factory = sqlite3.Row
        head, length, previous = connection.execute(
            "SELECT journal_head, journal_length, (SELECT previous_hash FROM readings WHERE reading = 0) FROM runs"
        ).fetchone()
        lines = connection.execute("SELECT * FROM events ORDER BY number").fetchall()
    for row in lines:
        content = {name: row[name] for name in ("at_s", "at_utc", "kind", "text")}
        assert row["previous_hash"] == previous
        text = json.dumps([previous, content], separators=(",", ":"))
        previous = row["own_hash"]
        assert previous == hashlib.sha256(text.encode()).hexdigest()
    assert (head, length) == (previous, 5)


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE events SET text = '+0.000 %' WHERE number = 2", ["line 2 of its journal", "was changed after"]),
        ("UPDATE events SET at_s = at_s + 1e-9 WHERE number = 5", ["line 5 of its journal", "was changed after"]),
        ("DELETE FROM events WHERE number = 3", ["line 3 of its journal", "does not follow the one before"]),
        ("DELETE FROM events WHERE number = 5", ["cut off or added to: 5 lines were written, 4 are there"]),
        (
            "INSERT INTO events (run, at_utc, at_s, kind, text) VALUES (1, '', 0, 'x', '')",
            ["line 6 of its journal (, x) carries no hash"],
        ),
        ("UPDATE runs SET unit = 'A2'", ["line 1 of its journal", "the header was changed"]),
    ],
)
def test_what_was_done_to_a_journal_is_named(whole, statement, words):
    assert faults(whole) == []
    tamper(whole, statement)
    found = faults(whole)
    assert any(all(word in fault for word in words) for fault in found), found


def test_a_forwarded_journal_is_in_its_chain_wherever_it_stands(whole, tmp_path, clock, make_reading, url):
    with open_store(str(whole)) as store:
        target = str(tmp_path / "server.db") if url == str(whole) else url
        with Forwarder(store, target) as forwarder:
            forwarder.send()
        with open_store(target, read_only=True) as there:
            assert there.check().faults == ()
            assert there.events(RUN) == store.events(RUN)


def test_a_resumed_run_goes_on_with_the_chain_of_its_journal(path, clock, make_header):
    with open_store(str(path)) as store:
        store.begin(make_header(RUN), clock).finish("interrupted", "Ctrl-C")
        store.resume(RUN, clock, "3 left").finish("finished")
        assert [event.kind for event in store.events(RUN)] == ["interrupted", "resumed", "finished"]
        assert store.check().faults == ()
