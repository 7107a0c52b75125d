"""`gainladder watch`: what another terminal sees of a run, and when it stops looking."""

from __future__ import annotations

import dataclasses
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from harness.app import watching
from harness.app.bench_open import open_bench
from harness.app.run import RunRequest, new_header, plan_of
from harness.app.setup import Setup, read_setup
from harness.store import Store, open_store
from harness.sweep import sweep
from harness.values import Outcome

ROOT = Path(__file__).resolve().parents[2]
SMALL = '[ladder]\nchannels = [1]\ncoarse = ["5V", "10mV"]\nfine = [0, 10]\n'
RUN = RunRequest(unit="A1", operator="test", faults=())


@pytest.fixture(scope="module")
def setup(tmp_path_factory: pytest.TempPathFactory) -> Setup:
    path = tmp_path_factory.mktemp("watch") / "job.toml"
    head = (ROOT / "configs/jobs/ci.toml").read_text().split("[ladder]")[0]
    path.write_text(head.replace('"../', f'"{ROOT}/configs/') + SMALL)
    return read_setup(str(path))


class Night:
    """A run that takes one more reading each time its watcher sleeps."""

    def __init__(self, setup: Setup, store: Store) -> None:
        self.setup, self.store = setup, store
        self.alive = True
        self.die_after = 99
        self.looks: list[watching.Look] = []

    def watched(self, end: str = "finished") -> list[watching.Look]:
        with open_bench(self.setup.bench, self.setup.device, transport="in-process", seed=1, faults=()) as opened:
            header = new_header(self.setup, opened, RUN)
            recorder = self.store.begin(header, opened.bench.clock)
            rungs = iter(self.setup.rungs)
            plan, taken = plan_of(self.setup), 0

            class Shifted:
                """Numbers the readings of several short sweeps through."""

                def record(self, reading: Any) -> None:
                    nonlocal taken
                    recorder.record(dataclasses.replace(reading, index=taken))
                    taken += 1

                def note(self, kind: str, text: str) -> None:
                    recorder.note(kind, text)

            def sleep(seconds: float) -> None:
                assert seconds == watching.LOOK_S
                rung = next(rungs, None)
                if taken >= self.die_after:
                    self.alive = False
                elif rung is None:
                    recorder.finish(end)
                else:
                    one = dataclasses.replace(plan, rungs=(rung,))
                    sweep(opened.bench, one, Shifted(), progress=lambda done, reading: None)

            found = watching.looks(self.store, header.run_id, sleep=sleep, under_way=lambda run_id: self.alive)
            return list(found)


@pytest.fixture
def night(setup: Setup, tmp_path: Path) -> Iterator[Night]:
    with open_store(str(tmp_path / "runs.sqlite")) as store:
        yield Night(setup, store)


def test_each_reading_is_seen_once_and_the_end_ends_it(night: Night) -> None:
    looks = night.watched()
    assert [look.done for look in looks] == [0, 1, 2, 3, 4, 5, 6, 7, 8, 8]
    assert [look.end for look in looks] == [""] * 9 + ["finished"]
    assert all(look.planned == 8 for look in looks)
    assert looks[-1].outcomes[Outcome.PASS] == 8
    assert sum(looks[-1].outcomes.values()) == 8
    assert looks[0].left_s is None
    assert looks[-1].label == "ch1 5V 100 %"
    # Each journal line once.
    kinds = [event.kind for look in looks for event in look.events]
    assert kinds.count("self-check") == 8
    assert kinds[-1] == "finished"


def test_time_left_is_at_the_pace_so_far(night: Night) -> None:
    half = next(look for look in night.watched() if look.done == 4)
    assert half.left_s == pytest.approx(half.elapsed_s)
    assert half.elapsed_s > 0.0


def test_a_run_whose_process_is_gone_has_died(night: Night) -> None:
    night.die_after = 3
    looks = night.watched()
    assert looks[-1].end == "died"
    assert looks[-1].done == 3


def test_looking_writes_nothing(night: Night, gainladder: Any, tmp_path: Path) -> None:
    night.die_after = 2
    night.watched()
    night.store.close()
    before = {path.name: path.read_bytes() for path in tmp_path.glob("runs.sqlite")}
    os.chmod(tmp_path / "runs.sqlite", 0o444)
    ended = gainladder("watch", "last")
    assert ended.code == 3
    assert ended.out.splitlines()[-1].startswith("[#####               ] 2/8  ch1 ")
    assert "self-check" in ended.out
    assert "died: its process is gone; `gainladder resume " in ended.err
    assert {path.name: path.read_bytes() for path in tmp_path.glob("runs.sqlite")} == before


def test_lines_for_a_machine(night: Night, gainladder: Any, tmp_path: Path) -> None:
    night.watched()
    ended = gainladder("watch", "last", "--json")
    assert ended.code == 0
    (line,) = ended.out.splitlines()
    told = json.loads(line)
    assert (told["done"], told["planned"], told["end"]) == (8, 8, "finished")
    assert told["outcomes"]["PASS"] == 8
    assert {"at_utc", "at_s", "kind", "text"} == set(told["events"][0])


def test_a_run_that_was_stopped_is_no_success(night: Night, gainladder: Any, tmp_path: Path) -> None:
    night.watched(end="stopped")
    assert gainladder("watch", "last").code == 3


def test_a_run_that_is_not_there_is_a_usage_error(night: Night, gainladder: Any) -> None:
    ended = gainladder("watch", "nobody")
    assert ended.code == 2
    assert "no run 'nobody'" in ended.err
