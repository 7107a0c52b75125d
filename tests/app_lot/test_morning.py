"""The morning: a shift out of a small store, where stations and units stand, and the page that says so."""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path

import pytest

from harness import report
from harness.app.bench_open import open_bench
from harness.app.morning import morning
from harness.app.run import RunRequest, new_header
from harness.app.setup import read_setup
from harness.errors import NotFinite, UsageError
from harness.store import add_note, keep_summary, open_store, write_in_book
from harness.values import (
    ATTEMPT,
    EXPORT,
    GOLDEN_CHECK,
    GOLDEN_UNIT,
    REMARK,
    STATION_CHECK,
    VERDICT,
    Action,
    Attempt,
    EndedAs,
    ExportState,
    Followed,
    GoldenLook,
    Outcome,
    RunSummary,
    StationCheck,
    StationPart,
    action_text,
    attempt_text,
    ended_as_text,
    export_text,
    golden_text,
    station_check_text,
)

JOB = Path(__file__).parents[2] / "configs" / "jobs" / "end-of-test.toml"
NOW = dt.datetime(2026, 11, 30, 14, 0, tzinfo=dt.UTC)
P, F, X, G = Outcome.PASS, Outcome.FAIL, Outcome.INVALID, Outcome.INCONCLUSIVE
RUNS = [
    # Unit, hours before now, outcome, what was repaired before.
    *((f"O{number}", 100.0 + number, P, "") for number in range(30)),
    ("A1", 7.0, P, ""), ("A2", 6.0, F, ""), ("A2", 5.9, P, ""), ("A3", 5.0, F, ""), ("A3", 4.9, P, "K1 replaced"),
    ("A4", 4.0, F, ""), ("A4", 3.9, X, ""), ("A4", 3.8, F, ""), ("A4", 3.7, G, ""), ("A5", 3.0, X, ""),
]  # fmt: skip


class Clock:
    """Stands where it was put."""

    def __init__(self, at=NOW):
        self.at = at

    def now_s(self):
        return 0.0

    def utc(self):
        return self.at.isoformat()


def short(run_id, verdict):
    return RunSummary(
        run_id=run_id, at_utc="2026", software="0.1.0", limits_sha256="a" * 64, verdict=verdict, complete=True,
        seconds=21.0 if verdict is F else 12.0, tested=8, failing=int(verdict is F), items=(),
        diagnoses=("relay-not-picking",) if verdict is F else (),
        invalid=(("timeout: source", 2),) if verdict is X else (), charted=(),
    )  # fmt: skip


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    setup = read_setup(str(JOB))
    station = setup.bench.file.name
    with open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=()) as opened:
        header = new_header(setup, opened, RunRequest(unit="A1", operator="o", faults=()))
    with open_store(str(tmp_path_factory.mktemp("m") / "m.sqlite")) as opened_store:
        for number, (unit, hours, verdict, repaired) in enumerate(RUNS):
            clock = Clock(NOW - dt.timedelta(hours=hours))
            software = "0.0.9" if unit.startswith("O") else "0.1.0"
            own = dataclasses.replace(
                header, run_id=f"r{number:03d}", unit=unit, started_utc=clock.utc(), software=software
            )
            recorder = opened_store.begin(own, clock)
            attempt = Attempt(
                unit=unit, job=setup.job.name, station=station, number=1, most=3, failed_before=False, repaired=repaired
            )
            recorder.note(ATTEMPT, attempt_text(attempt))
            recorder.finish("finished")
            add_note(opened_store, own.run_id, VERDICT, ended_as_text(EndedAs(outcome=verdict, place="gain")), clock)
            keep_summary(opened_store, short(own.run_id, verdict))
        _golden(opened_store, header, station, setup.job.name)
        yield opened_store


def _golden(store, header, station, job):
    clock = Clock(NOW - dt.timedelta(hours=2))
    recorder = store.begin(dataclasses.replace(header, run_id="g", unit="G1", started_utc=clock.utc()), clock)
    recorder.note(GOLDEN_UNIT, "G1")
    recorder.finish("finished")
    for percent, outcome in ((0.01, G), (0.02, P), (-0.9, F)):
        look = GoldenLook(
            unit="G1", station=station, job=job, outcome=outcome, reference=False, restart="", common_percent=percent,
            numbers=(),
        )  # fmt: skip
        add_note(store, "g", GOLDEN_CHECK, golden_text(look), clock)
    part = StationPart(name="bus pattern", outcome=P, text="")
    check = StationCheck(station=station, unit="G1", outcome=P, parts=(part,))
    add_note(store, "g", STATION_CHECK, station_check_text(check), clock)
    left = ExportState(done=(), left=("csv",), tries=1, text="csv: full")
    add_note(store, "r031", EXPORT, export_text(left), clock)
    said = Action(station=station, who="Una <Morrow>", role="operator", about="end-of-test", text="cable tired")
    write_in_book(store, station, REMARK, action_text(said), clock, software="0.1.0")


@pytest.fixture(scope="module")
def made(store):
    return morning(store, job="", hours=8.0, takt_s=20.0, clock=Clock())


def test_the_shift_and_the_days_before_it(made):
    shift, before = made.shift, made.before
    assert (shift.units, shift.runs, shift.not_judged, shift.never_judged) == (5, 10, 2, 1)
    assert (shift.first_pass.events, shift.first_pass.trials) == (1, 4)
    assert (shift.final.events, shift.retest_pass.events) == (2, 1)
    assert (shift.repaired.events, shift.repaired.trials) == (1, 1)
    assert (before.units, before.first_pass.events) == (30, 30)
    assert shift.invalid == (("timeout: source", 2, 4),)
    assert (shift.times.over, shift.times.count) == (4, 8)
    assert made.new == ("software 0.1.0",)
    assert dict(made.software) == {"0.1.0": 11}


def test_where_stations_and_units_stand(made):
    (station,) = made.stations
    assert [lock.split(":")[0] for lock in station.locks][:1] == ["golden-failed"]
    assert [look.common_percent for look in station.golden] == [0.01, 0.02, -0.9]
    assert (str(station.look.outcome), station.fixture_cycles) == ("PASS", None)
    # Forty runs and three golden checks.
    assert station.fixture_runs == len(RUNS) + 3
    (held,) = made.held
    assert (held.unit, held.runs, held.why) == ("A4", 4, "the unit has had all its runs without a repair")
    assert made.waiting == ("results of 1 runs are not handed on: gainladder export",)
    assert [(done.kind, done.about) for done in made.actions] == [("repaired", "A3"), ("remark", "end-of-test")]


def test_the_page_says_it(made):
    page = report.morning_html(made, software="0.1.0")
    assert page.startswith("<!DOCTYPE html>")
    assert "0 of 1 stations up" in page
    assert "golden-failed: the last golden check was not sound" in page
    assert "25.0 %  (" in page
    # Of 30 before all passed, 1 of 4 now: the intervals do not touch.
    assert page.count("<td>lower</td>") == 1
    assert "Una &lt;Morrow&gt; (operator)" in page
    assert "cable tired" in page
    assert page.count("<svg viewBox=\"0 0 1100") == 1
    assert page == report.morning_html(made, software="0.1.0")


def test_nothing_was_measured(store):
    made = morning(store, job="", hours=1.0, takt_s=None, clock=Clock())
    assert made.shift is None
    assert made.before.units == 35
    page = report.morning_html(made, software="0.1.0")
    assert "No unit was judged in this shift." in page
    assert "No units of end-of-test" in page


def test_a_number_that_is_not_finite_makes_no_page(made):
    one = Followed(
        name="ln K", unit="%", count=1, mean=float("nan"), deviation=0.0, low=None, high=None, cpk=None,
        cpk_interval=None, base=0, excursions=0, expected=0.0, run_length=0.0, zone_alarms=0, zone_expected=0.0,
        zone_run_length=0.0, weighted=(), half=(), centre=0.0, every=1,
    )  # fmt: skip
    sound = dataclasses.replace(made.before, followed=(dataclasses.replace(one, mean=0.0),))
    page = report.morning_html(dataclasses.replace(made, before=sound), software="")
    assert "Least capable numbers" in page
    odd = dataclasses.replace(made.before, followed=(one,))
    with pytest.raises(NotFinite, match="followed"):
        report.morning_html(dataclasses.replace(made, before=odd), software="")


def test_over_the_command_line(store, gainladder, tmp_path):
    out = tmp_path / "m.html"
    words = ("lot", "--store", store.place, "--morning", "24")
    ended = gainladder(*words, "--out", str(out))
    assert (ended.code, "stations up" in ended.out, out.stat().st_size > 5000) == (0, True, True)
    assert gainladder(*words, "--out", str(out), "--json").json["job"] == "end-of-test"
    for wrong in ((), ("--out", "x", "--since", "2026-01-01"), ("--out", "x", "--parquet", "d")):
        refused = gainladder(*words, *wrong)
        assert (refused.code, "lot --morning: allowed are" in refused.err) == (2, True)
    with open_store(str(tmp_path / "empty.sqlite")) as empty, pytest.raises(UsageError, match="no run is recorded"):
        morning(empty, job="", hours=8.0, takt_s=None, clock=Clock())
