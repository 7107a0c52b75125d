"""A night before it begins (preview) and while it goes on (watch)."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from harness.app.bench_open import open_bench
from harness.app.night_preview import hours, night_preview
from harness.app.night_watching import followed, night_line, night_look
from harness.app.run import RunRequest, new_header
from harness.app.setup import Setup, read_setup
from harness.store import Store, open_store
from harness.values import NightPlace, RunHeader

ROOT = Path(__file__).resolve().parents[2]
JOB = "configs/jobs/overnight.toml"


@pytest.fixture(scope="module")
def setup() -> Setup:
    return read_setup(str(ROOT / JOB))


def test_a_night_is_counted_before_it_begins(setup: Setup) -> None:
    night = setup.job.night
    assert night is not None
    found = night_preview(night, lambda cycle: setup, units=2)
    rungs = len(setup.every_rung)
    assert (found.units, found.corners, found.cycles, found.runs) == (2, 7, 2, 28)
    assert found.readings == 28 * rungs
    # Before the first rung, after each 44 of the 132, behind the last.
    assert (rungs, found.anchors) == (132, 28 * 4)
    # Fourteen visits, each of 600 s at least and 7200 s at most; the ladders take seconds.
    assert 14 * 600.0 < found.shortest_s < 14 * 600.0 + 28 * 10.0
    assert found.longest_s - found.shortest_s == pytest.approx(14 * (7200.0 - 600.0))
    moved = {relay: count for relay, count, _ in found.toggles}
    assert set(moved) == {"ch1 K1", "ch1 K2", "ch2 K1", "ch2 K2"}
    # The same ladder each time: fourteen sweeps of a unit move fourteen times as much as one.
    assert all(count % 14 == 0 and count > 0 for count in moved.values())
    assert {life for _, _, life in found.toggles} == {1e6}


def test_what_is_left_as_it_comes_is_not_waited_for(setup: Setup) -> None:
    night = setup.job.night
    assert night is not None
    still = tuple(corner.model_copy(update={"temperature_c": None, "supply_v": None}) for corner in night.corner)
    alone = night_preview(night.model_copy(update={"corner": still}), lambda cycle: setup, units=1)
    assert alone.longest_s == alone.shortest_s < 60.0
    bare = dataclasses.replace(setup, job=setup.job.model_copy(update={"anchors": None}))
    assert night_preview(night, lambda cycle: bare, units=1).anchors == 0


def test_preview_shows_the_night_behind_the_ladder(gainladder: Any) -> None:
    said = gainladder("preview", JOB)
    assert "the night: 2 units x 7 corners x 2 cycles = 28 runs, 3696 readings and about 112 anchors" in said.out
    assert "of its life)" in said.out
    assert gainladder("preview", JOB, "--json").json["night"]["runs"] == 28
    assert "night" not in gainladder("preview", "configs/jobs/ci.toml", "--json").json


@pytest.mark.parametrize(("seconds", "said"), [(3.0, "1 min"), (3599.0, "1 h 00 min"), (37_260.0, "10 h 21 min")])
def test_a_time_as_people_say_it(seconds: float, said: str) -> None:
    assert hours(seconds) == said


class StepClock:
    """Each look at the wall clock is a minute later."""

    def __init__(self) -> None:
        self.minutes = 0

    def now_s(self) -> float:
        return 60.0 * self.minutes

    def utc(self) -> str:
        self.minutes += 1
        return f"2026-11-30T02:{self.minutes:02d}:00.000000Z"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(str(tmp_path / "runs.sqlite")) as opened:
        yield opened


@pytest.fixture
def begin(setup: Setup, store: Store) -> Callable[..., Any]:
    clock = StepClock()
    with open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=()) as opened:
        header = new_header(setup, opened, RunRequest(unit="N1", operator="t", faults=()))

    def begun(run_id: str, visit: int, night_id: str = "the-night") -> Any:
        place = NightPlace(
            night_id=night_id, visit=visit, corner=f"corner {visit}", cycle=0, temperature_c=None, supply_v=None,
            planned=5,
        )
        made: RunHeader = dataclasses.replace(header, run_id=run_id, started_utc=clock.utc(), night=place)
        return store.begin(made, clock)

    return begun


def test_the_runs_of_a_night_are_followed_until_it_is_over(store: Store, begin: Callable[..., Any]) -> None:
    begin("a", 0).finish("finished")
    begin("of-another", 0, "another-night")
    sleeps: list[float] = []

    def sleep(seconds: float) -> None:
        sleeps.append(seconds)
        if len(sleeps) == 2:
            begin("b", 1)

    assert list(followed(store, "a", sleep=sleep, under_way=lambda night_id: len(sleeps) < 3)) == ["a", "b"]
    assert len(sleeps) == 3
    assert list(followed(store, "b", sleep=sleep, under_way=lambda night_id: False)) == ["b"]


def test_where_a_night_is_and_how_long_it_will_take(store: Store, begin: Callable[..., Any]) -> None:
    begin("a", 0).finish("finished")
    first = night_look(store, "a")
    assert first is not None
    # From 02:01 to 02:02; four are not begun.
    assert (first.run, first.planned, first.ends, first.left_s) == (1, 5, {"finished": 1}, 240.0)
    begin("b", 1).finish("stopped")
    begin("c", 2)
    third = night_look(store, "c")
    assert third is not None
    assert night_line(third) == (
        "night the-night: run 3 of 5, unit N1, corner 2, cycle 1 (1 finished, 1 stopped); about 2 min for the runs not "
        "begun"
    )


def test_watch_follows_a_night_and_a_stopped_run_is_no_success(gainladder: Any, begin: Callable[..., Any]) -> None:
    begin("a", 0).finish("finished")
    begin("b", 1).finish("finished")
    ended = gainladder("watch", "a")
    assert ended.code == 0
    assert [line.split(", unit")[0] for line in ended.out.splitlines() if line.startswith("night ")] == [
        "night the-night: run 1 of 5",
        "night the-night: run 2 of 5",
    ]
    begin("c", 2).finish("stopped", "the disk is full")
    assert gainladder("watch", "a").code == 3
    lines = [json.loads(line) for line in gainladder("watch", "c", "--json").out.splitlines()]
    assert (lines[0]["kind"], lines[0]["run"], lines[0]["ends"]) == ("night", 3, {"finished": 2, "stopped": 1})
    assert lines[-1]["end"] == "stopped"
