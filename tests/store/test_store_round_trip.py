"""What is read back is what was written, field by field."""

from __future__ import annotations

import dataclasses
import sqlite3

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import create_engine, insert, select

from harness.bench import Recorder
from harness.store import RunRecorder, open_store
from harness.store.reading_row import reading_of, row_of
from harness.store.schema import READINGS
from harness.values import Capture, Direction, Event, Reading, ReadingStatus, Setting, Waveform


def test_a_full_reading_comes_back_whole(url, clock, make_header, make_reading, is_same):
    written = [make_reading(index) for index in range(40)]
    with open_store(url) as store:
        recorder = store.begin(make_header(), clock)
        for one in written:
            recorder.record(one)
        again = list(store.readings(make_header().run_id))
    assert len(again) == 40
    assert all(is_same(left, right) for left, right in zip(written, again, strict=True))


def test_a_bare_reading_comes_back_whole(url, clock, make_header, make_reading, is_same):
    bare = make_reading(waveform=None, capture=None, read_back=(), messages=(), reason="", capture_reason="")
    sure = make_reading(
        1, capture=Capture(times_ns=np.array([], np.int64), levels=np.array([], np.uint8), initial=0, lines=())
    )
    with open_store(url) as store:
        recorder = store.begin(make_header(), clock)
        recorder.record(bare)
        recorder.record(sure)
        first, second = store.readings(make_header().run_id)
    assert is_same(first, bare)
    assert is_same(second, sure)
    assert second.capture is not None
    assert second.capture.unknown is None


def test_every_field_of_a_record_is_stored():
    # A field added to a record must be added to the table: this list is what the table holds.
    def names(kind):
        return [field.name for field in dataclasses.fields(kind)]

    assert names(Waveform) == ["codes", "sample_rate_hz", "scale_v_per_code", "sequence", "mode"]
    assert names(Capture) == ["times_ns", "levels", "initial", "lines", "dropped", "unknown"]
    assert names(Event) == ["at_utc", "at_s", "kind", "text"]
    assert names(Reading) == [
        "index", "setting", "direction", "attempt", "status", "reason", "drive_set_vpk", "drive_read_vpk",
        "frequency_hz", "waveform", "capture", "capture_reason", "read_back", "messages", "started_utc", "started_s",
        "duration_s", "purpose", "aggressor_vpk", "aggressor_hz", "meter_vpk", "steady_v", "records", "stopped", "kept",
    ]  # fmt: skip


def test_arrays_that_were_read_cannot_be_written(url, clock, make_header, make_reading):
    with open_store(url) as store:
        store.begin(make_header(), clock).record(make_reading())
        (again,) = store.readings(make_header().run_id)
    with pytest.raises(ValueError, match="read-only"):
        again.waveform.codes[0] = 1
    with pytest.raises(ValueError, match="read-only"):
        again.capture.times_ns[0] = 1


_finite = st.floats(allow_nan=False, allow_infinity=False, min_value=-9.8e36, max_value=9.8e36)
_text = st.text(st.characters(exclude_categories=("Cs",)), max_size=20)


@given(
    numbers=st.tuples(_finite, _finite, _finite, _finite, _finite),
    codes=st.lists(st.integers(-32768, 32767), max_size=20),
    texts=st.tuples(_text, _text, _text),
    status=st.sampled_from(list(ReadingStatus)),
    direction=st.sampled_from(list(Direction)),
    sequence=st.integers(-(2**63), 2**63 - 1),
    swapped=st.booleans(),
)
@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_reading_survives_its_row(numbers, codes, texts, status, direction, sequence, swapped, is_same):
    array = np.array(codes, ">i2" if swapped else "<i2")
    one = Reading(
        index=3, setting=Setting(1, 0, 2), direction=direction, attempt=0, status=status, reason=texts[0],
        drive_set_vpk=numbers[0], drive_read_vpk=numbers[1], frequency_hz=numbers[2],
        waveform=Waveform(codes=array, sample_rate_hz=1.0, scale_v_per_code=5e-324, sequence=sequence),
        capture=None, capture_reason=texts[1], read_back=((texts[0], texts[2]),), messages=texts,
        started_utc="", started_s=numbers[3], duration_s=numbers[4],
    )  # fmt: skip
    again = through_a_table(one)
    native = dataclasses.replace(one, waveform=dataclasses.replace(one.waveform, codes=array.astype("=i2")))
    assert is_same(again, native)


def through_a_table(one: Reading) -> Reading:
    """One reading through the real table in a database in memory."""
    engine = create_engine("sqlite://")
    with engine.begin() as connection:
        READINGS.create(connection)
        connection.execute(insert(READINGS), {"run": 1, **row_of(one, "run x, reading 3")})
        row = connection.execute(select(READINGS)).one()
    engine.dispose()
    return reading_of(row._asdict(), "run x")


def test_numpy_numbers_are_taken(url, clock, make_header, make_reading):
    one = make_reading(np.int64(5), drive_set_vpk=np.float64(0.1), setting=Setting(np.int64(1), 2, 3))
    with open_store(url) as store:
        store.begin(make_header(), clock).record(one)
        (again,) = store.readings(make_header().run_id)
    assert (again.index, again.drive_set_vpk, again.setting) == (5, 0.1, Setting(1, 2, 3))
    assert type(again.index) is int


def test_header_and_journal_come_back_whole(url, clock, make_header):
    header = make_header(seed=2**127 + 1)
    with open_store(url) as store:
        recorder = store.begin(header, clock)
        running = store.info(header.run_id)
        recorder.note("retry", "channel 2: ReadTimeout – Ω")
        recorder.finish("interrupted", "Ctrl-C")
        recorder.finish("finished")
        assert store.header(header.run_id) == header
        info = store.info(header.run_id)
        events = store.events(header.run_id)
    assert (running.end, running.finished_utc, running.readings) == ("", "", 0)
    assert (info.end, info.readings, info.header) == ("interrupted", 0, header)
    assert info.finished_utc == "2026-11-25T10:00:42.000000Z"
    assert [(event.kind, event.text) for event in events] == [
        ("retry", "channel 2: ReadTimeout – Ω"),
        ("interrupted", "Ctrl-C"),
    ]
    assert [event.at_s for event in events] == [101.0, 102.0]


def test_a_header_without_seed_files_or_faults(url, clock, make_header):
    header = make_header(seed=None, files=(), faults=(), identities=())
    with open_store(url) as store:
        store.begin(header, clock)
        assert store.header(header.run_id) == header


def test_a_text_is_kept_once(path, clock, make_header, make_file):
    with open_store(str(path)) as store:
        for number in range(5):
            own = make_file("device", f"{number}")
            files = (make_file("job", "same"), make_file("limits", "same", "other.toml"), own)
            store.begin(make_header(f"run-{number}", files=files), clock)
        assert store.header("run-3").file("device").text == "3"
        assert store.header("run-3").file("limits").path == "other.toml"
    with sqlite3.connect(path) as bare:
        count = bare.execute("SELECT count(*) FROM files").fetchone()
    bare.close()
    assert count == (6,)


def test_the_recorder_is_the_one_of_the_bench(url, clock, make_header):
    with open_store(url) as store:
        recorder: Recorder = store.begin(make_header(), clock)
        assert isinstance(recorder, RunRecorder)
        assert recorder.run_id == make_header().run_id


def test_readings_come_in_order_of_index_and_few_at_a_time(path, clock, make_header, make_reading, monkeypatch):
    fetched = []
    monkeypatch.setattr("harness.store.store.reading_of", lambda row, *_: fetched.append(row) or row["reading"])
    with open_store(f"sqlite:///{path}") as store:
        recorder = store.begin(make_header(), clock)
        for index in reversed(range(50)):
            recorder.record(make_reading(index, samples=4))
        reader = store.readings(make_header().run_id)
        assert [next(reader) for _ in range(3)] == [0, 1, 2]
        assert len(fetched) == 3
        assert list(reader) == list(range(3, 50))


def test_a_reader_sees_what_comes_while_it_reads(url, clock, make_header, make_reading):
    with open_store(url) as writing, open_store(url, read_only=True) as reading:
        recorder = writing.begin(make_header(), clock)
        for index in range(20):
            recorder.record(make_reading(index, samples=4))
        reader = reading.readings(make_header().run_id)
        next(reader)
        recorder.record(make_reading(20, samples=4))
        assert sum(1 for _ in reader) == 20
        assert reading.info(make_header().run_id).readings == 21
