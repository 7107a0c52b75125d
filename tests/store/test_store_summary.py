"""A run in short: durable, read back, forwarded, exported, forgotten when the run goes on."""

from __future__ import annotations

import dataclasses

import pytest

from harness.errors import RunNotFound, StoreError
from harness.store import Forwarder, export_parquet, keep_summary, open_store
from harness.store.summary_row import summary_of_row, summary_row
from harness.values import Charted
from tests.store.freeze import RUN, SUMMARY, FrozenClock, frozen, write


def kept(store):
    with store.viewing("looking") as connection:
        row = summary_row(connection, store.version, 1)
    return None if row is None else summary_of_row(row, RUN)


@pytest.fixture
def place(tmp_path):
    path = tmp_path / "runs.sqlite"
    write(path)
    return path


def test_it_reads_back_as_it_was_and_a_later_one_replaces_it(place):
    with open_store(str(place)) as store:
        assert kept(store) is None
        keep_summary(store, SUMMARY)
        assert kept(store) == SUMMARY
        later = dataclasses.replace(SUMMARY, software="0.2.0", seconds=None)
        keep_summary(store, later)
        assert kept(store) == later


def test_the_frozen_one_reads_for_ever():
    with open_store(str(frozen(12)), read_only=True) as store:
        assert kept(store) == SUMMARY
    with open_store(str(frozen(11)), read_only=True) as store:
        assert kept(store) is None


def test_a_run_that_goes_on_has_none(place):
    with open_store(str(place)) as store:
        keep_summary(store, SUMMARY)
        store.resume(RUN, FrozenClock())
        assert kept(store) is None


def test_it_is_forwarded_also_when_it_comes_last(place, tmp_path):
    there = str(tmp_path / "plant.sqlite")
    with open_store(str(place)) as store, Forwarder(store, there) as forwarder:
        forwarder.send()
        assert forwarder.waiting().runs == 0
        keep_summary(store, SUMMARY)
        assert forwarder.waiting().runs == 1
        forwarder.send()
        assert forwarder.waiting().runs == 0
    with open_store(there, read_only=True) as plant:
        assert kept(plant) == SUMMARY


def test_it_is_exported(place, tmp_path):
    import pyarrow.parquet as pq

    with open_store(str(place)) as store:
        keep_summary(store, SUMMARY)
        export_parquet(store, tmp_path / "out")
    (row,) = pq.read_table(tmp_path / "out" / "summaries.parquet").to_pylist()
    assert row.pop("run_id") == RUN
    assert summary_of_row(row, RUN) == SUMMARY


def test_what_is_refused(place):
    with open_store(str(place)) as store:
        with pytest.raises(RunNotFound):
            keep_summary(store, dataclasses.replace(SUMMARY, run_id="nothing"))
        odd = dataclasses.replace(SUMMARY, charted=(Charted("ln K", float("nan"), None, None, ""),))
        with pytest.raises(StoreError, match=f"run {RUN}: its summary is not finite .*: nothing was written"):
            keep_summary(store, odd)
        assert kept(store) is None
        keep_summary(store, SUMMARY)
        with store.viewing("looking") as connection:
            row = summary_row(connection, store.version, 1)
    with pytest.raises(StoreError, match=f"run {RUN}: its summary is damaged .*judge the run again with"):
        summary_of_row({**row, "facts": "{"}, RUN)
