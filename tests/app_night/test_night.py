"""A night in memory: every run of it, what stops a part of it, and going on with it."""

from __future__ import annotations

import dataclasses
import os
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from harness import report
from harness.app import night as nights
from harness.app.bench_open import open_bench
from harness.app.night import NightRequest, carry_out
from harness.app.night_report import judged_night
from harness.app.relay_use import RelayUse
from harness.app.run import RunRequest, new_header
from harness.app.setup import Setup, read_setup
from harness.errors import ConfigError, LinkLost, StopCondition, WrongInstrument
from harness.store import Store, open_store
from harness.store.recorder import RunRecorder
from harness.values import Outcome, Purpose, Reading, ReadingStatus, conditions_of

ROOT = Path(__file__).resolve().parents[2]
LADDER = """
[ladder]
channels = [1]
coarse = ["5V", "200mV"]
fine = [0, 10]
directions = ["up"]

[anchors]
every_rungs = 3

[[anchors.setting]]
channel = 1
coarse = "200mV"
fine = 10

[night]
units = ["N1", "N2"]

[[night.corner]]
name = "hot"
temperature_c = 50.0
supply_v = 10.8

[[night.corner]]
name = "room"

[night.dwell]
within_k = 6.0
look_s = 120.0
"""


FIRST, SECOND = f"first-{os.getpid()}", f"second-{os.getpid()}"
"""A night is held by one process of the computer: another one that runs these tests has nights of its own."""


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("night")
    shutil.copytree(ROOT / "configs", home / "configs")
    path = home / "configs" / "jobs" / "overnight.toml"
    path.write_text(path.read_text().split("[ladder]")[0] + LADDER)
    return path


@pytest.fixture(scope="module")
def setup(job: Path) -> Setup:
    return read_setup(str(job))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(str(tmp_path / "runs.sqlite")) as opened:
        yield opened


def request(setup: Setup, **changes: Any) -> NightRequest:
    made = NightRequest(
        night_id=FIRST, setup_of_cycle=lambda cycle: setup, units=("N1", "N2"),
        run=RunRequest(unit="", operator="test", faults=()), seed=3, connect=lambda unit: None,
    )  # fmt: skip
    return dataclasses.replace(made, **changes)


def told(store: Store) -> list[tuple[str, str, str]]:
    """Unit, corner, end of each run, the first first."""
    return [(i.header.unit, i.header.night.corner, i.end) for i in reversed(store.runs()) if i.header.night]


ALL = [("N1", "hot", "finished"), ("N1", "room", "finished"), ("N2", "hot", "finished"), ("N2", "room", "finished")]


def test_each_unit_walks_each_corner_and_the_record_says_under_what_conditions(setup: Setup, store: Store) -> None:
    asked: list[str] = []
    end = carry_out(store, request(setup, connect=asked.append))
    assert (end.finished, end.planned, end.stops, end.trouble) == (4, 4, [], None)
    assert told(store) == ALL
    assert asked == ["N1", "N2"]
    # Units follow one another in time, on a simulated bench too.
    begun = [info.header.started_utc for info in reversed(store.runs())]
    assert begun == sorted(begun)
    hot = store.runs()[3].header
    assert hot.night is not None
    assert (hot.night.temperature_c, hot.night.supply_v, hot.night.planned) == (50.0, 10.8, 4)
    conditions = [c for event in store.events(hot.run_id) for c in conditions_of(event)]
    probes = [c.value for c in conditions if c.name == "probe_c"]
    # From room to hot; the unit's own heat, 4 K, and the 0.1 K that the probe reads too high come on top.
    assert 23.0 < probes[0] < 29.0
    assert probes[-1] == pytest.approx(54.1, abs=0.6)
    assert {c.value for c in conditions if c.name == "supply_v"} == {10.8}
    assert any(e.kind == "dwell" and e.text.startswith("settled") for e in store.events(hot.run_id))
    ladder = [r for r in store.readings(hot.run_id) if r.purpose is Purpose.LADDER]
    assert len(ladder) == 4
    assert {r.status for r in ladder} == {ReadingStatus.VALID}


Record = Callable[[RunRecorder, Reading], None]


def at_record(monkeypatch: pytest.MonkeyPatch, wanted: Callable[[RunRecorder, Reading], BaseException | None]) -> None:
    record = RunRecorder.record

    def recorded(self: RunRecorder, reading: Reading) -> None:
        trouble = wanted(self, reading)
        if trouble is not None:
            raise trouble
        record(self, reading)

    monkeypatch.setattr(RunRecorder, "record", recorded)


def test_a_night_that_was_killed_is_gone_on_with_and_no_run_is_taken_twice(
    setup: Setup, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as dead:
        at_record(dead, lambda self, r: KeyboardInterrupt() if len(store.runs()) == 2 and r.index == 3 else None)
        dead.setattr(RunRecorder, "finish", _unless_interrupted(RunRecorder.finish))
        with pytest.raises(KeyboardInterrupt):
            carry_out(store, request(setup))
    assert told(store) == [("N1", "hot", "finished"), ("N1", "room", "")]
    kept = [r.setting for r in store.readings(store.runs()[0].header.run_id)]
    end = carry_out(store, request(setup))
    assert (end.finished, end.stops) == (4, [])
    assert told(store) == ALL
    resumed = store.runs()[2].header.run_id
    readings = list(store.readings(resumed))
    assert [r.setting for r in readings][: len(kept)] == kept
    keys = [(r.setting, r.direction) for r in readings if r.purpose is Purpose.LADDER and r.final]
    assert len(keys) == len(set(keys)) == 4
    assert carry_out(store, request(setup)).finished == 4
    assert len(store.runs()) == 4


def _unless_interrupted(finish: Any) -> Any:
    def finished(self: RunRecorder, end: str, text: str = "") -> None:
        if end != "interrupted":
            finish(self, end, text)

    return finished


def test_a_bench_that_is_gone_ends_the_night_and_the_chamber_goes_to_rest(
    setup: Setup, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    rested: list[float] = []
    real = nights._back_to

    def back(surroundings: Any, rest_c: float) -> Any:
        rested.append(rest_c)
        return real(surroundings, rest_c)

    monkeypatch.setattr(nights, "_back_to", back)
    at_record(monkeypatch, lambda self, r: LinkLost("it is gone") if r.purpose is Purpose.LADDER else None)
    end = carry_out(store, request(setup))
    assert isinstance(end.trouble, LinkLost)
    assert end.stops == ["N1: LinkLost: it is gone"]
    assert told(store) == [("N1", "hot", "stopped")]
    # At each of four attempts: the first one, and three with a bench opened anew.
    assert rested == [23.0] * 4


def test_a_bench_that_was_lost_for_a_while_does_not_end_the_night(
    setup: Setup, store: Store, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lost: list[int] = []

    def twice(self: RunRecorder, reading: Reading) -> BaseException | None:
        if reading.purpose is not Purpose.LADDER or len(lost) == 2:
            return None
        lost.append(reading.index)
        return LinkLost("a hub has started anew")

    at_record(monkeypatch, twice)
    end = carry_out(store, request(setup))
    assert (end.finished, end.stops, end.trouble) == (4, [], None)
    assert told(store) == ALL
    assert "the bench is opened again in 60 s, 3 times at most: N1: LinkLost: a hub has started anew" in (
        capsys.readouterr().err
    )
    kinds = [event.kind for event in store.events(store.runs()[3].header.run_id)]
    assert kinds.count("resumed") == 2


def test_another_instrument_is_not_waited_for(setup: Setup, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    at_record(monkeypatch, lambda self, r: WrongInstrument("serial 7 answers") if r.purpose is Purpose.LADDER else None)
    end = carry_out(store, request(setup))
    assert end.stops == ["N1: WrongInstrument: serial 7 answers"]
    assert [e.kind for e in store.events(store.runs()[0].header.run_id)].count("resumed") == 0


@pytest.mark.parametrize(
    ("scope", "runs", "stops"),
    [
        ("corner", [("N1", "hot", "stopped"), ("N1", "room", "finished"), ("N2", "hot", "finished")], 1),
        ("unit", [("N1", "hot", "stopped"), ("N2", "hot", "finished"), ("N2", "room", "finished")], 1),
        ("night", [("N1", "hot", "stopped")], 1),
    ],
)
def test_a_condition_stops_as_much_as_it_says(
    setup: Setup, store: Store, monkeypatch: pytest.MonkeyPatch, scope: str, runs: list[Any], stops: int
) -> None:
    def wanted(self: RunRecorder, reading: Reading) -> BaseException | None:
        first = len(store.runs()) == 1 and reading.purpose is Purpose.LADDER
        return StopCondition("enough", scope=scope) if first else None

    at_record(monkeypatch, wanted)
    end = carry_out(store, request(setup))
    assert told(store)[:3] == runs
    assert len(end.stops) == stops
    assert "enough" in end.stops[0]


def test_two_units_that_die_are_not_to_blame(setup: Setup, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    at_record(monkeypatch, lambda self, r: StopCondition("dead", scope="unit"))
    end = carry_out(store, request(setup, units=("N1", "N2", "N3")))
    assert told(store) == [("N1", "hot", "stopped"), ("N2", "hot", "stopped")]
    assert end.stops[-1] == "2 units were given up: then it is not the units, everything stops"


def stopping(setup: Setup, **stop: Any) -> Setup:
    assert setup.job.night is not None
    rules = setup.job.night.stop.model_copy(update=stop)
    return dataclasses.replace(
        setup, job=setup.job.model_copy(update={"night": setup.job.night.model_copy(update={"stop": rules})})
    )


def test_a_disk_that_runs_low_stops_everything(setup: Setup, store: Store) -> None:
    end = carry_out(store, request(stopping(setup, least_free_mb=1e9)))
    assert len(told(store)) == 1
    assert "MB free for the store, the job wants 1e+09 MB: everything stops" in end.stops[0]


def test_a_unit_that_is_too_hot_stops_everything(setup: Setup, store: Store) -> None:
    end = carry_out(store, request(stopping(setup, over_k=0.5)))
    assert len(told(store)) == 1
    assert "over 0.5 K above the warmest corner: everything stops" in end.stops[0]


def test_a_current_that_changes_gives_the_unit_up(setup: Setup, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    from harness.simulated.surroundings import SimulatedSupply

    looks = iter([0.4] * 4)
    monkeypatch.setattr(SimulatedSupply, "_current_a", lambda self: next(looks, 0.5))
    end = carry_out(store, request(setup, units=("N1",)))
    assert "the supply gives 0.500 A, 0.400 A when the run began; allowed ±20 %: the unit is given up" in end.stops[0]
    assert told(store) == [("N1", "hot", "stopped")]


def test_readings_that_are_invalid_in_a_row_give_the_corner_up(
    setup: Setup, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    from harness.app.night_watch import NightWatch

    seen = NightWatch.seen

    def bad(self: NightWatch, reading: Reading) -> None:
        seen(self, dataclasses.replace(reading, status=ReadingStatus.INVALID, reason="stale-record: x"))

    monkeypatch.setattr(NightWatch, "seen", bad)
    end = carry_out(store, request(stopping(setup, invalid_in_a_row=3), units=("N1",)))
    assert "3 INVALID readings in a row, the last: stale-record: x; the corner is given up" in end.stops[0]
    assert [end for _, _, end in told(store)] == ["stopped", "stopped"]


def test_toggles_are_counted_over_all_runs_of_a_unit_and_half_a_life_is_the_end(setup: Setup, store: Store) -> None:
    carry_out(store, request(setup, units=("N1",)))
    past = RelayUse(store).of("N1")
    # Each run goes from 200mV (the anchor, no relay) to 5V (K2 picks), back to the anchor after three rungs.
    assert past == {"ch1 K2": past["ch1 K2"]}
    assert past["ch1 K2"] > 0
    assert RelayUse(store).of("N9") == {}

    def with_life(life: float) -> Setup:
        return dataclasses.replace(setup, device=setup.device.model_copy(update={"relay_life": {"K2": life}}))

    coming = 1  # made ready with K2 picked, as for 5V; dropped for 200mV
    total = past["ch1 K2"] + coming
    assert RelayUse(store).check(with_life(10.0 * total), "N1") == ()
    (said,) = RelayUse(store).check(with_life(10.0 * total - 1.0), "N1")
    assert f"{past['ch1 K2']} toggles so far, {coming} to come" in said
    with pytest.raises(StopCondition, match="more than 50% of its life would be used; sweep another unit"):
        RelayUse(store).check(with_life(2.0 * total - 1.0), "N1")
    assert RelayUse(store).check(setup, "N1") == ()


def test_a_corner_that_the_bench_cannot_make_is_a_mistake_of_the_job(job: Path) -> None:
    text = job.read_text()
    other = job.with_name("other.toml")
    other.write_text(text.replace("simulated-night.toml", "simulated.toml"))
    with pytest.raises(ConfigError, match=r"night.corner\[0\].temperature_c: got 50; allowed: only where"):
        read_setup(str(other))


def test_the_page_of_a_night_says_what_an_engineer_asks_at_eight(setup: Setup, store: Store) -> None:
    carry_out(store, request(setup))
    bad = RunRequest(unit="", operator="t", faults=("data-bit-stuck-low:1",))
    carry_out(store, request(setup, night_id=SECOND, run=bad))
    night = judged_night(store, SECOND, why=["N1: somebody pulled a plug"])
    assert (night.finished, night.planned, night.verdict) == (4, 4, Outcome.FAIL)
    assert "No new failures." not in report.night_html(night, software="1")
    assert (night.before_id, night.units, night.corners) == (FIRST, ("N1", "N2"), ("hot", "room"))
    assert night.failures
    assert all(f.new and f.unit in ("N1", "N2") and f.count == 2 for f in night.failures)
    # Both runs of a unit measured it and failed it, the second one later than the first; its limits are drawn too.
    assert all([bad for _, _, bad in f.course] == [True, True] and f.course[0] < f.course[1] for f in night.failures)
    assert all(min(abs(p) for _, p, _ in f.course) > f.limit_percent[1] for f in night.failures if f.limit_percent[1])
    assert any("fails, did not before" in line for line in night.against)
    assert night.words == 4 * 4
    # Clopper and Pearson with no error in n: 1 - 0.05^(1/n).
    assert night.word_error_bound_ratio == pytest.approx(1.0 - 0.05 ** (1.0 / 16.0))
    # From the record: one toggle down and up again a run, over both nights.
    assert dict(night.toggles[0:1] and [(night.toggles[0][1], night.toggles[0][3])]) == {"ch1 K2": 1e6}
    assert {s.name for s in night.strips} == {"probe_c", "air_c", "supply_v", "supply_a"}
    assert all(s.points[0] == (pytest.approx(s.points[0][0]), 0.0) for s in night.anchors)
    repeats = [s.repeat_percent for s in night.scatter]
    assert all(r is not None and 0.0 < r < 0.1 for r in repeats)
    page = report.night_html(night, software="1")
    said = ("4 of 4 runs finished", "somebody pulled a plug", "Against the night before", "over</td>")
    for words in (*said, "Residual of each new failure"):
        assert words in page, words
    assert f'<span class="word">{night.verdict}</span>' in page
    assert not re.search(r'<td class="n">-\d', page)
    assert report.night_html(night, software="1") == page
    # Many cycles stand in one cell each corner: all five of each fail.
    many = tuple(dataclasses.replace(row, cycle=cycle) for row in night.runs for cycle in range(5))
    folded = report.night_html(dataclasses.replace(night, runs=many), software="1")
    assert folded.count("5 of 5") == 4
    assert "cycle 5" not in folded
    first = judged_night(store, FIRST)
    assert (first.before_id, first.verdict, first.failures, first.why) == ("", Outcome.PASS, (), ())
    assert "There is none in this store" in report.night_html(first, software="1")


def test_a_night_that_broke_off_says_why_from_its_record(
    setup: Setup, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    at_record(monkeypatch, lambda self, r: LinkLost("it is gone") if r.purpose is Purpose.LADDER else None)
    carry_out(store, request(setup, units=("N1",)))
    night = judged_night(store, FIRST)
    assert night.why == ("N1, hot: stopped: LinkLost: it is gone",)
    assert (night.finished, night.planned) == (0, 2)
    page = report.night_html(night, software="1")
    assert "0 of 2 runs finished" in page
    assert "not begun" in page or "INVALID, stopped" in page


def test_the_command_sweeps_resumes_and_says_how_it_ended(
    gainladder: Any, job: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with monkeypatch.context() as dead:
        at_record(dead, lambda self, r: LinkLost("it is gone") if r.index == 3 else None)
        ended = gainladder("sweep", str(job), "--unit", "N7", "--seed", "2")
    assert ended.code == 3
    assert "stopped: N7: LinkLost: it is gone" in ended.err
    assert "0 of 2 runs finished" in ended.out
    again = gainladder("resume", "last", "--job", str(job), "--json")
    assert again.code == 0, again.err
    assert (again.json["finished"], again.json["planned"], again.json["verdict"]) == (2, 2, "PASS")
    assert Path(again.json["report"]).read_text().startswith("<!DOCTYPE html>")
    page = gainladder("report", "last", "--night")
    assert page.code == 0
    assert "2 of 2 runs finished" in page.out
    assert "several of --lot, --against and --night" in gainladder("report", "last", "--night", "--lot").err


def test_a_run_by_itself_has_no_night(gainladder: Any, job: Path, tmp_path: Path) -> None:
    alone = job.with_name("alone.toml")
    alone.write_text(job.read_text().split("[night]")[0])
    setup = read_setup(str(alone))
    with (
        open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=()) as opened,
        open_store(str(tmp_path / "runs.sqlite")) as there,
    ):
        there.begin(new_header(setup, opened, RunRequest(unit="A", operator="t", faults=())), opened.bench.clock)
    ended = gainladder("report", "last", "--night")
    assert ended.code == 2
    assert "run last is no part of a night" in ended.err
