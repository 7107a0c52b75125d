"""Room for the whole run is looked for before its first reading."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from harness.errors import StoreUnavailable
from harness.store import open_store
from harness.store.room import RESERVE_BYTES


def test_a_disk_that_would_fill_on_the_way_is_refused_before_anything_is_begun(path, monkeypatch):
    free = RESERVE_BYTES + 5_000_000
    monkeypatch.setattr("harness.store.room.shutil.disk_usage", lambda place: SimpleNamespace(free=free))
    with open_store(str(path)) as store:
        store.require_room(5_000_000)
        with pytest.raises(StoreUnavailable, match=r"69 MB free, about 69 MB needed .*with --store; nothing was begun"):
            store.require_room(5_000_001)
        assert store.runs() == ()


def test_a_sweep_asks_first(gainladder, monkeypatch):
    monkeypatch.setattr("harness.store.room.shutil.disk_usage", lambda place: SimpleNamespace(free=60_000_000))
    ended = gainladder("sweep", "configs/jobs/ci.toml", "--unit", "A1")
    assert ended.code == 3
    # Closed form: 220 readings of 4000 samples of two bytes and 4000 bytes beside them, and the reserve.
    assert "60 MB free, about 67 MB needed for the whole run" in ended.err
    assert gainladder("runs", "--json").json == []


def test_a_store_that_becomes_read_only_in_the_middle_keeps_what_it_has(path, clock, make_header, make_reading):
    with open_store(str(path)) as store:
        recorder = store.begin(make_header(), clock)
        recorder.record(make_reading(0))
        # What SQLite answers on a file system that was remounted: each write is refused, reading goes on.
        driver = store._writer._driver
        driver.execute("PRAGMA query_only = ON")
        for write in (lambda: recorder.record(make_reading(1)), lambda: recorder.note("retry", "x")):
            with pytest.raises(StoreUnavailable, match="it is read-only: make file and folder writable"):
                write()
        assert [r.index for r in store.readings(recorder.run_id)] == [0]
        driver.execute("PRAGMA query_only = OFF")
        recorder.record(make_reading(1))
        recorder.finish("finished")
        assert [r.index for r in store.readings(recorder.run_id)] == [0, 1]
        assert store.check().faults == ()
