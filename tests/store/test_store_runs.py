"""Runs are listed, found, begun once, resumed."""

from __future__ import annotations

import dataclasses
import subprocess
import sys

import pytest

from harness.errors import ExitCode, RunExists, RunNotFound, StoreError, StoreUnavailable
from harness.store import open_store


@pytest.fixture
def store(url, clock, make_header):
    with open_store(url) as opened:
        # Begun in this order although the wall clock was set back in between.
        for run_id in ("20261125T1000-ab12", "20261125T1000-ab34", "20261124T0900-cd56"):
            opened.begin(make_header(run_id, started_utc=run_id), clock)
        yield opened


def test_runs_are_listed_last_begun_first(store):
    assert [info.header.run_id for info in store.runs()] == [
        "20261124T0900-cd56",
        "20261125T1000-ab34",
        "20261125T1000-ab12",
    ]


def test_runs_are_counted_each_for_itself(store, clock, make_header, make_reading):
    recorder = store.begin(make_header("more"), clock)
    recorder.record(make_reading(0, samples=4))
    recorder.record(make_reading(1, samples=4))
    assert [info.readings for info in store.runs()] == [2, 0, 0, 0]


@pytest.mark.parametrize(
    ("text", "run_id"),
    [
        ("last", "20261124T0900-cd56"),
        ("20261124", "20261124T0900-cd56"),
        ("20261125T1000-ab1", "20261125T1000-ab12"),
        ("20261125T1000-ab34", "20261125T1000-ab34"),
    ],
)
def test_a_run_is_found(store, text, run_id):
    assert store.resolve(text) == run_id


def test_an_id_that_begins_another_is_found(store, clock, make_header):
    store.begin(make_header("20261125T1000-ab"), clock)
    assert store.resolve("20261125T1000-ab") == "20261125T1000-ab"


def test_an_ambiguous_beginning_names_the_candidates(store):
    with pytest.raises(RunNotFound, match=r"'20261125' begins 2 runs: 20261125T1000-ab34, 2.*ab12; give more"):
        store.resolve("20261125")


def test_many_candidates_are_not_all_named(store, clock, make_header):
    for number in range(9):
        store.begin(make_header(f"x{number}"), clock)
    with pytest.raises(RunNotFound, match="begins 9 runs: x8, x7, x6, x5, x4 and 4 more; give more letters"):
        store.resolve("x")


def test_a_wrong_id_names_the_nearest(store):
    with pytest.raises(RunNotFound, match=r"no run '20261125T1000-ab11'.*allowed: an id.*nearest: 2026.*ab12") as error:
        store.resolve("20261125T1000-ab11")
    assert error.value.exit_code is ExitCode.USAGE


@pytest.mark.parametrize("text", ["", "%", "_", "AB", "zzz"])
def test_a_strange_id_names_the_newest(store, text):
    with pytest.raises(RunNotFound, match="newest: 20261124T0900-cd56, 20261125T1000-ab34"):
        store.resolve(text)


def test_an_empty_store_says_so(url):
    with open_store(url) as store:
        assert store.runs() == ()
        with pytest.raises(RunNotFound, match="no run 'last': the store holds no run yet"):
            store.resolve("last")
        with pytest.raises(RunNotFound, match="newest: none"):
            store.header("x")


def test_each_reader_refuses_an_unknown_run_at_once(store, clock):
    for ask in (store.header, store.info, store.readings, store.events):
        with pytest.raises(RunNotFound, match="no run 'nix'"):
            ask("nix")
    with pytest.raises(RunNotFound, match="no run 'nix'"):
        store.resume("nix", clock)


def test_an_id_is_taken_once(store, clock, make_header):
    with pytest.raises(RunExists, match="run 20261124T0900-cd56: this id is in the store already"):
        store.begin(make_header("20261124T0900-cd56"), clock)
    assert len(store.runs()) == 3


def test_a_text_of_another_hash_is_refused(store, clock, make_header, make_file):
    wrong = dataclasses.replace(make_file("limits", "gain = 1"), text="gain = 2")
    with pytest.raises(StoreError, match=r"file configs/limits.toml \(limits\): sha256 is '.*', but its text has"):
        store.begin(make_header("new", files=(wrong,)), clock)
    assert len(store.runs()) == 3


def test_a_reading_is_recorded_once(store, clock, make_header, make_reading):
    recorder = store.begin(make_header("new"), clock)
    recorder.record(make_reading(4, samples=4))
    with pytest.raises(StoreError, match="reading 4 of run new: it contradicts what is stored") as caught:
        recorder.record(make_reading(4, samples=4))
    assert type(caught.value) is StoreError
    recorder.record(make_reading(5, samples=4))
    assert store.info("new").readings == 2


def test_an_ended_run_takes_nothing_more(store, clock, make_header, make_reading):
    recorder = store.begin(make_header("new"), clock)
    recorder.finish("stopped")
    with pytest.raises(StoreError, match=r"run new, reading 0: the run has ended \(stopped\)"):
        recorder.record(make_reading())
    with pytest.raises(StoreError, match=r"run new, note x: the run has ended \(stopped\)"):
        recorder.note("x", "")


def test_an_end_is_one_of_three(store, clock, make_header):
    with pytest.raises(StoreError, match="run new: end 'done'; allowed: finished, interrupted, stopped"):
        store.begin(make_header("new"), clock).finish("done")


def test_an_interrupted_run_is_resumed(store, clock, make_header, make_reading):
    recorder = store.begin(make_header("new"), clock)
    recorder.record(make_reading(0, samples=4))
    recorder.finish("interrupted")
    again = store.resume("new", clock)
    assert store.info("new").end == ""
    again.record(make_reading(1, samples=4))
    again.finish("finished")
    assert [event.kind for event in store.events("new")] == ["interrupted", "resumed", "finished"]
    assert (store.info("new").end, store.info("new").readings) == ("finished", 2)
    with pytest.raises(StoreError, match="run new is finished: begin another run"):
        store.resume("new", clock)


def test_a_closed_store_is_closed(url, clock, make_header, make_reading):
    store = open_store(url)
    recorder = store.begin(make_header(), clock)
    store.close()
    store.close()
    with pytest.raises(StoreUnavailable, match="the store was closed: open it again"):
        store.runs()
    with pytest.raises(StoreUnavailable, match="the store was closed: open it again"):
        store.begin(make_header("b"), clock)
    with pytest.raises(StoreUnavailable, match=r"recording reading 0 of run .*: the store was closed"):
        recorder.record(make_reading())


def test_a_store_for_reading_takes_no_run(url, clock, make_header):
    open_store(url).close()
    with (
        open_store(url, read_only=True) as store,
        pytest.raises(StoreUnavailable, match=r"beginning run .*: the store was opened for reading only"),
    ):
        store.begin(make_header(), clock)


def test_the_room_can_be_imported_alone():
    # No other room is needed, so a tool that only reads records stays light.
    words = "import sys, harness.store; print(*sorted(m for m in sys.modules if m.startswith('harness.')))"
    got = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True).stdout.split()
    assert {name.split(".")[1] for name in got} == {"errors", "store", "values"}
