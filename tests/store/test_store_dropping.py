"""Raw data that a job does not keep: gone with what they gave, all at once, and the chain stays whole."""

from __future__ import annotations

import dataclasses
import sqlite3
from contextlib import closing

import pytest

from harness.errors import StoreError
from harness.store import DROPPED_KIND, Forwarder, drop_raw, dropping, open_store
from harness.values import Event
from tests.store.freeze import KEPT

RUN = "20261125T100000Z-aaaa"
LINE = Event(at_utc="2026-11-25T10:01:00.000000Z", at_s=200.0, kind=DROPPED_KIND, text="dropped")
COUNT = 5


def recorded(store, clock, make_header, make_reading, end="finished"):
    recorder = store.begin(make_header(RUN), clock)
    for index in range(COUNT):
        recorder.record(make_reading(index))
    if end:
        recorder.finish(end)
    return recorder


@pytest.fixture
def store(url, clock, make_header, make_reading):
    with open_store(url) as opened:
        recorded(opened, clock, make_header, make_reading)
        yield opened


def dropped(reading):
    scale = None if reading.waveform is None else reading.waveform.scale_v_per_code
    kept = dataclasses.replace(KEPT, scale_v_per_code=scale)
    return dataclasses.replace(reading, waveform=None, capture=None, kept=kept)


def test_what_was_dropped_is_seen_the_rest_is_as_it_was(store, make_reading, is_same):
    assert drop_raw(store, RUN, {1: KEPT, 3: KEPT}, LINE) == 2
    wanted = [dropped(make_reading(index)) if index in (1, 3) else make_reading(index) for index in range(COUNT)]
    assert all(is_same(left, right) for left, right in zip(store.readings(RUN), wanted, strict=True))
    assert [r.index for r in store.readings(RUN, after=1)] == [2, 3, 4]
    assert [e.kind for e in store.events(RUN)] == ["finished", DROPPED_KIND]
    assert store.check().faults == ()


def test_once_is_enough(store):
    drop_raw(store, RUN, {1: KEPT}, LINE)
    assert drop_raw(store, RUN, {1: dataclasses.replace(KEPT, rule="another")}, LINE) == 0
    assert {r.kept.rule for r in store.readings(RUN) if r.kept} == {"none"}
    assert len(store.events(RUN)) == 2


def test_what_there_is_of_readings_has_a_mark(path, clock, make_header, make_reading):
    with open_store(str(path)) as store:
        recorder = store.begin(make_header(RUN), clock)
        marks = [store.mark(RUN)]
        for index in range(2):
            recorder.record(make_reading(index))
            marks.append(store.mark(RUN))
        recorder.note("verdict", "of no weight for the readings")
        recorder.finish("finished")
        assert store.mark(RUN) == marks[-1]
        drop_raw(store, RUN, {1: KEPT}, LINE)
        assert len({*marks, store.mark(RUN)}) == 4


def test_a_reading_without_raw_data_has_nothing_to_drop(path, clock, make_header, make_reading):
    with open_store(str(path)) as store:
        recorder = store.begin(make_header(RUN), clock)
        recorder.record(make_reading(0, waveform=None, capture=None))
        recorder.finish("finished")
        assert drop_raw(store, RUN, {0: KEPT}, LINE) == 0
        assert next(store.readings(RUN)).kept is None


def test_a_run_under_way_loses_nothing(path, clock, make_header, make_reading):
    with open_store(str(path)) as store:
        recorded(store, clock, make_header, make_reading, end="")
        with pytest.raises(StoreError, match="it has not ended; allowed after its end: nothing was dropped"):
            drop_raw(store, RUN, {0: KEPT}, LINE)
        assert all(r.kept is None for r in store.readings(RUN))


def test_a_number_that_is_none_is_not_kept_and_nothing_is_lost(store):
    bad = dataclasses.replace(KEPT, fit=dataclasses.replace(KEPT.fit, noise_code=float("nan")))
    with pytest.raises(StoreError, match=r"reading 2: what is to be kept of it is not finite .*: nothing was dropped"):
        drop_raw(store, RUN, {1: KEPT, 2: bad}, LINE)
    assert all(r.waveform is not None for r in store.readings(RUN))
    assert len(store.events(RUN)) == 1


def test_a_death_in_the_middle_leaves_everything(store, monkeypatch):
    def dies(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(dropping, "append_event", dies)
    with pytest.raises(KeyboardInterrupt):
        drop_raw(store, RUN, {1: KEPT}, LINE)
    assert all(r.waveform is not None and r.kept is None for r in store.readings(RUN))
    assert store.check().faults == ()


def test_what_was_dropped_is_not_recorded_again(store, clock, make_header, make_reading):
    drop_raw(store, RUN, {1: KEPT}, LINE)
    gone = list(store.readings(RUN))[1]
    with pytest.raises(StoreError, match=r"its raw data were dropped; .*: nothing was recorded"):
        store.begin(make_header("another"), clock).record(gone)


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE dropped SET numbers = replace(numbers, '0.5', '0.6')", "what was kept of reading 1 was changed since"),
        ("UPDATE dropped SET outcome = 'FAIL'", "what was kept of reading 1 was changed since"),
        ("UPDATE dropped SET numbers = '[]'", "reading 1: the record is damaged"),
        ("UPDATE dropped SET blobs = '{}'", "reading 1 was changed after it was recorded"),
        ("UPDATE dropped SET blobs = '7'", "reading 1 was changed after it was recorded"),
        ("DELETE FROM dropped", "reading 1 was changed after it was recorded"),
        ("UPDATE readings SET codes = NULL WHERE reading = 2", "reading 2 was changed after it was recorded"),
        ("UPDATE dropped SET run = 9", "1 rows of dropped belong to run number 9, which is not there"),
    ],
)
def test_a_hand_at_what_was_kept_is_found(path, clock, make_header, make_reading, statement, words):
    with open_store(str(path)) as store:
        recorded(store, clock, make_header, make_reading)
        drop_raw(store, RUN, {1: KEPT}, LINE)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA foreign_keys = OFF")
        connection.execute(statement)
        connection.commit()
    with open_store(str(path), read_only=True) as store:
        found = store.check().faults
    assert any(words in fault for fault in found), found


@pytest.mark.parametrize("before", [False, True])
def test_forwarded_raw_data_stay_where_they_came_before(store, tmp_path, before, is_same, make_reading):
    target = str(tmp_path / "server.sqlite")
    with Forwarder(store, target) as forwarder:
        if before:
            forwarder.send()
        drop_raw(store, RUN, {1: KEPT}, LINE)
        forwarder.send()
    with open_store(target, read_only=True) as there:
        second = list(there.readings(RUN))[1]
        assert is_same(second, make_reading(1) if before else dropped(make_reading(1)))
        assert there.check().faults == ()
        assert there.events(RUN) == store.events(RUN)
