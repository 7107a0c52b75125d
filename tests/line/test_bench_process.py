"""A try from its order to its last word, on a simulated bench: what the page shows, and what the record holds."""

from __future__ import annotations

import asyncio
import dataclasses
import os
import signal

import pytest

from harness.drivers import SourceDriver
from harness.errors import ReportError, UsageError
from harness.line import bench_process
from harness.line import station as station_module
from harness.line.events import Unread
from harness.line.state import Button, HeldLock, Kind, Screen, State, Verdict
from harness.line.station import Station
from harness.store import noted, open_store
from harness.store.recorder import RunRecorder
from harness.values import ATTEMPT, VERDICT, attempt_of
from tests.line.conftest import OTHER, UNIT

RELAY = ["relay-not-picking:2"]


def recorded(bench):
    """Unit, operator and attempt of every counted run, oldest first."""
    with open_store(bench.store, read_only=True) as store:
        runs = [(run_id, attempt_of((event,))) for run_id, event in noted(store, ATTEMPT)]
        return [(store.header(run_id).unit, store.header(run_id).operator, one.number) for run_id, one in runs]


def test_the_golden_unit_is_checked_by_scanning_it(sound_place):
    _, built, sound = sound_place
    assert (built.screen, built.verdict.kind, built.golden) == (Screen.VERDICT, Kind.GOLDEN_BUILDING, True)
    assert (sound.verdict.kind, sound.unit) == (Kind.GOLDEN_SOUND, "G1")


def test_a_lock_is_a_screen_with_code_text_and_who_may_lift_it(bench):
    bench.station.scan("OP101")
    bench.station.scan(UNIT)
    assert bench.work() == 4
    (lock,) = bench.station.state.locks
    assert (bench.screen, lock.code) == ("locked", "golden-missing")
    assert "golden check" in lock.lift
    assert "12 h" in lock.detail
    assert recorded(bench) == []


def test_good_failing_and_retested_units(sound):
    assert sound.measure(UNIT) == 0
    good = sound.station.state.verdict
    assert (good.kind, good.attempt, good.most) == (Kind.PASS, 1, 3)
    assert good.took_s > 0.0
    sound.faults[OTHER] = RELAY
    assert sound.measure(OTHER) == 1
    bad = sound.station.state.verdict
    assert (bad.kind, bad.attempt) == (Kind.FAIL, 1)
    assert bad.item in ("gain", "word", "measurable", "realness", "residual", "coarse-step")
    assert bad.where.startswith("ch2")
    sound.faults.clear()
    assert sound.measure(OTHER) == 0
    again = sound.station.state.verdict
    assert (again.kind, again.attempt) == (Kind.RETEST_PASS, 2)
    assert recorded(sound) == [(UNIT, "OP101", 1), (OTHER, "OP101", 1), (OTHER, "OP101", 2)]
    with open_store(sound.store, read_only=True) as store:
        assert [run for run, _ in noted(store, ATTEMPT)] == [run for run, _ in noted(store, VERDICT)]
        assert noted(store, VERDICT)[-1][0] == sound.station.state.run_id
    # A unit that has passed here is not due here again.
    assert sound.measure(UNIT) == 4
    state = sound.station.state
    assert (sound.screen, state.why) == ("trouble", "passed-already")


def test_a_fault_of_the_station_is_none_of_the_unit(sound):
    sound.faults[UNIT] = ["source-load-mis-set"]
    assert sound.measure(UNIT) == 3
    verdict = sound.station.state.verdict
    assert (verdict.kind, verdict.item) == (Kind.STATION, "")
    assert "source" in verdict.detail
    sound.faults.clear()
    assert sound.measure(UNIT) == 0
    assert (sound.station.state.verdict.kind, sound.station.state.verdict.attempt) == (Kind.PASS, 1)


def test_what_is_wrong_with_a_file_is_said_and_nothing_is_recorded(sound):
    sound.faults[UNIT] = ["no-such-fault"]
    assert sound.measure(UNIT) == 2
    assert (sound.screen, sound.station.state.why) == ("trouble", "files")
    assert "no-such-fault" in sound.station.state.detail
    assert recorded(sound) == []


def test_an_error_of_the_program_is_said_without_a_traceback_on_the_page(sound, monkeypatch):
    def breaks(*args, **named):
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr(bench_process, "admit", breaks)
    assert sound.measure(UNIT) == 6
    assert (sound.station.state.why, sound.station.state.detail) == ("internal", "ZeroDivisionError: by nothing")


def test_trouble_behind_a_verdict_does_not_undo_it(bench, monkeypatch, capsys):
    """As a folder of pages that is full."""

    def works(one, order):
        one.tell("ended", kind="pass", run_id="r", planned=1)
        raise ReportError("pages/x.html: cannot be written")

    monkeypatch.setattr(bench_process, "_work", works)
    bench.station.scan("OP101")
    assert bench.measure(UNIT) == 3
    assert (bench.screen, bench.station.state.verdict.kind) == ("verdict", Kind.PASS)
    assert "pages/x.html: cannot be written" in capsys.readouterr().err


def test_a_stop_while_measuring_leaves_the_source_off_and_no_attempt_spent(sound, monkeypatch):
    """The signal comes between two readings, with the source on."""
    seen = []
    real = RunRecorder.record

    def record(recorder, *args, **named):
        real(recorder, *args, **named)
        if len(seen) < 3:
            seen.append(1)
        else:
            os.kill(os.getpid(), signal.SIGTERM)

    outputs = []
    off = SourceDriver.safe_off

    def safe_off(driver):
        off(driver)
        outputs.append("off")

    monkeypatch.setattr(RunRecorder, "record", record)
    monkeypatch.setattr(SourceDriver, "safe_off", safe_off)
    sound.station.scan(UNIT)
    assert sound.work() == 130
    assert outputs[-1] == "off"
    assert sound.one.told()["phase"] == "stopped"
    monkeypatch.undo()
    with open_store(sound.store, read_only=True) as store:
        ((run_id, _),) = noted(store, ATTEMPT)
        assert store.info(run_id).end == "interrupted"
        assert 3 <= store.info(run_id).readings < 16
    assert sound.measure(UNIT) == 0
    assert sound.station.state.verdict.attempt == 1


def test_an_order_that_was_withdrawn_is_not_carried_out(sound):
    sound.station.scan(UNIT)
    sound.one.withdraw()
    assert bench_process.main(str(sound.one.path)) == 130
    assert recorded(sound) == []


VERDICT_STATE = State(
    screen=Screen.VERDICT, operator="OP101", unit=UNIT, ticket=7, run_id="r", planned=9,
    verdict=Verdict(kind=Kind.FAIL, item="gain", where="ch1", attempt=1, most=3, took_s=2.5),
    locks=(HeldLock(code="c", text="t", detail="d", lift="l"),),
)  # fmt: skip


@pytest.mark.parametrize("screen", list(Screen))
def test_every_state_goes_to_the_disk_and_back(bench, screen):
    bench.station.state = dataclasses.replace(VERDICT_STATE, screen=screen)
    bench.station.feed(Unread("x", "form"))
    assert bench.station.state.why in ("form", "not-now")
    assert Station(bench.station.line, bench.hands).state == bench.station.state


def test_a_damaged_memory_begins_anew_and_gives_no_ticket_twice(bench):
    bench.station.scan("OP101")
    for _ in range(2):
        bench.station.scan(UNIT)
        bench.station.press(Button.BACK)
    for text in ("{", '{"screen": "no such screen"}', '{"screen": "unit", "more": 1}', "[]", "\xff"):
        bench.hands.place.session.write_text(text)
        again = Station(bench.station.line, bench.hands, golden_units=("G1",))
        assert again.state == State(ticket=2)


def test_a_full_disk_does_not_keep_a_stop_from_being_carried_out(bench, monkeypatch, capsys):
    def full(path, content):
        raise ReportError(f"{path}: cannot be written: No space left on device")

    stops = []
    monkeypatch.setattr(station_module, "write_json", full)
    monkeypatch.setattr(type(bench.hands), "stop", lambda hands, ticket: stops.append(ticket))
    bench.station.state = dataclasses.replace(VERDICT_STATE, screen=Screen.RUN, verdict=None)
    bench.station.press(Button.STOP)
    assert (bench.screen, stops) == ("stopping", [7])
    assert "cannot remember its state" in capsys.readouterr().err


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), UsageError("--unit-faults f.toml: broken")])
def test_a_try_that_cannot_be_laid_down_is_told(bench, monkeypatch, error):
    def refuses(hands, effect):
        raise error

    monkeypatch.setattr(type(bench.hands), "prepare", refuses)
    bench.station.scan("OP101")
    bench.station.scan(UNIT)
    assert (bench.screen, bench.station.state.why) == ("trouble", "files")
    assert str(error) in bench.station.state.detail


def test_a_try_that_is_only_being_started_is_not_lost(bench, monkeypatch):
    """The thread that looks comes in between, when its process is not there yet."""
    started = []

    def slowly(hands, effect):
        assert list(hands.look(bench.station.state)) == []
        started.append(effect.ticket)

    monkeypatch.setattr(type(bench.hands), "prepare", slowly)
    monkeypatch.setattr(type(bench.hands), "lives", lambda hands, ticket: ticket in started)
    bench.station.scan("OP101")
    bench.station.scan(UNIT)
    bench.station.look()
    assert (bench.screen, started) == ("prepare", [bench.station.state.ticket])


def test_a_look_that_fails_is_not_the_last_one(bench, monkeypatch, capsys):
    looks = []

    def look(hands, state):
        looks.append(1)
        if len(looks) == 1:
            raise KeyError("told")
        bench.station.scan("OP101")
        return iter(())

    monkeypatch.setattr(type(bench.hands), "look", look)
    monkeypatch.setattr(station_module, "LOOK_S", 0.0)

    async def watched():
        task = asyncio.create_task(bench.station.watch())
        while bench.screen != "unit":
            await asyncio.sleep(0)
        task.cancel()

    asyncio.run(watched())
    assert "a look at the bench failed: KeyError: 'told'" in capsys.readouterr().err
