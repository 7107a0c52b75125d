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
