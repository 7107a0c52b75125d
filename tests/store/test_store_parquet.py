"""What is exported is what was recorded; read back by the bare library, which knows nothing of us."""

from __future__ import annotations

import importlib.util
import sqlite3

import numpy as np
import pytest

from harness.errors import StoreError, StoreUnavailable, UsageError
from harness.store import export_parquet, open_store, parquet
from tests.store.freeze import READINGS, RUN, frozen

pq = pytest.importorskip("pyarrow.parquet", reason="pyarrow is not installed: pip install 'gainladder[parquet]'")

COUNT = 7


@pytest.fixture
def store(url, clock, make_header, make_reading, monkeypatch):
    monkeypatch.setattr(parquet, "_ROWS", 3)
    with open_store(url) as opened:
        for run_id, count in (("a/b", COUNT), ("empty", 0)):
            recorder = opened.begin(make_header(run_id), clock)
            for index in range(count):
                recorder.record(make_reading(index, samples=20 + index) if index != 2 else bare(make_reading(index)))
            recorder.note("retry", "Ω")
        yield opened


def bare(reading):
    import dataclasses

    return dataclasses.replace(reading, waveform=None, capture=None)


def test_every_reading_is_exported_with_its_arrays(store, tmp_path):
    written = export_parquet(store, tmp_path / "new" / "out")
    assert (written.files, written.runs, written.readings) == (8, 2, COUNT)
    rows = pq.read_table(tmp_path / "new" / "out" / "readings" / "a%2Fb.parquet").to_pylist()
    readings = list(store.readings("a/b"))
    assert len(rows) == len(readings) == COUNT
    for row, reading in zip(rows, readings, strict=True):
        assert (row["run_id"], row["reading"], row["fine"]) == ("a/b", reading.index, reading.setting.fine)
        assert row["drive_read_vpk"] == reading.drive_read_vpk
        assert (row["status"], row["purpose"]) == (reading.status.value, reading.purpose.value)
        if reading.waveform is None or reading.capture is None:
            assert row["codes"] is row["bus_levels"] is row["scale_v_per_code"] is None
            continue
        assert np.array_equal(row["codes"], reading.waveform.codes)
        assert np.array_equal(row["bus_times_ns"], reading.capture.times_ns)
        assert np.array_equal(row["bus_levels"], reading.capture.levels)
        assert np.array_equal(row["bus_unknown"], reading.capture.unknown)
    types = {field.name: str(field.type) for field in pq.read_schema(tmp_path / "new/out/readings/empty.parquet")}
    assert (types["codes"], types["bus_times_ns"], types["bus_levels"]) == (
        "list<element: int16>",
        "list<element: int64>",
        "list<element: uint8>",
    )
    assert (types["drive_set_vpk"], types["fine"], types["reason"]) == ("double", "int64", "string")
    assert pq.ParquetFile(tmp_path / "new/out/readings/a%2Fb.parquet").num_row_groups == 3


def test_the_other_tables_are_exported(store, tmp_path):
    export_parquet(store, tmp_path)
    export_parquet(store, tmp_path)
    runs = pq.read_table(tmp_path / "runs.parquet").to_pylist()
    assert [row["run_id"] for row in runs] == ["a/b", "empty"]
    assert runs[0]["unit"] == store.header("a/b").unit
    events = pq.read_table(tmp_path / "events.parquet").to_pylist()
    assert [(row["run_id"], row["kind"], row["text"]) for row in events] == [
        ("a/b", "retry", "Ω"),
        ("empty", "retry", "Ω"),
    ]
    texts = {row["sha256"]: row["text"] for row in pq.read_table(tmp_path / "files.parquet").to_pylist()}
    names = pq.read_table(tmp_path / "run_files.parquet").to_pylist()
    assert [(row["role"], texts[row["sha256"]]) for row in names if row["run_id"] == "a/b"] == [
        (file.role, file.text) for file in store.header("a/b").files
    ]
    assert not list(tmp_path.rglob(".*")), "nothing half-written is left"


def test_an_older_store_is_exported_as_it_is(tmp_path):
    with open_store(str(frozen(1)), read_only=True) as old:
        assert export_parquet(old, tmp_path).readings == READINGS
    rows = pq.read_table(tmp_path / "readings" / f"{RUN}.parquet").to_pylist()
    assert [row["purpose"] for row in rows] == ["ladder"] * READINGS


def test_a_damaged_record_leaves_no_file_of_its_run(path, tmp_path, clock, make_header, make_reading):
    with open_store(str(path)) as store:
        store.begin(make_header("r"), clock).record(make_reading())
        with sqlite3.connect(path) as connection:
            connection.execute("UPDATE readings SET codes = x'00'")
        connection.close()
        with pytest.raises(
            StoreError, match=r"run r, reading 0: the record is damaged \(.*: nothing was exp"
        ):
            export_parquet(store, tmp_path / "out")
    assert list((tmp_path / "out" / "readings").iterdir()) == []


def test_where_nothing_can_be_exported(path, tmp_path, monkeypatch):
    with open_store(str(path)) as store:
        with pytest.raises(UsageError, match="got a file; allowed is a folder, which need not be there yet"):
            export_parquet(store, path)
        true = importlib.util.find_spec
        monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "pyarrow" else true(name))
        with pytest.raises(StoreUnavailable, match=r"needs pyarrow, .*: pip install 'gainladder\[parquet\]'"):
            export_parquet(store, tmp_path)
