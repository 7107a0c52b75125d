"""Faults of store, process, clock, operator and connection, through the command: who is told what, and what is kept."""

from __future__ import annotations

import datetime as dt
import sqlite3
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from harness.errors import LinkLost, OpenFailed, UsageError, WriteTimeout
from harness.simulated import JumpClock, MemoryLink
from harness.simulated.faults.reading import read_fault
from harness.simulated.skerry_hr4 import SkerryTruth
from harness.values import ReadingStatus
from tests.faults.link_world import link_world

ROOT = Path(__file__).resolve().parents[2]
JOB = "configs/jobs/ci.toml"


def kept(store: Path) -> int:
    with sqlite3.connect(store) as base:
        count = base.execute("select count(*) from readings").fetchone()[0]
    base.close()
    return int(count)


@pytest.mark.parametrize(
    ("fault", "code", "words", "readings"),
    [
        ("disk-full@6", 3, "the disk is full (injected): make room, then resume the run", 5),
        ("store-locked@6", 3, "the store is locked by another process (injected), for more than 30 s", 5),
        ("operator-interrupt@6", 130, "", 6),
        ("operator-interrupt=2@16", 130, "", None),
        ("process-killed=1@6", 130, "", 6),
    ],
)
def test_a_run_that_is_stopped_keeps_what_it_has(
    gainladder: Any, tmp_path: Path, fault: str, code: int, words: str, readings: int | None
) -> None:
    ended = gainladder("sweep", JOB, "--unit", "A1", "--fault", fault)
    assert ended.code == code, ended.err
    assert words in ended.err
    count = kept(tmp_path / "runs.sqlite")
    assert count == readings if readings is not None else 0 < count < 220


@pytest.mark.parametrize("fault", ["store-locked=20@2", "clock-stepped=-3600@8", "host-asleep=300@8"])
def test_a_run_that_goes_on_loses_nothing(fault: str) -> None:
    with link_world(fault) as world:
        readings = world.walk()
        again = [ReadingStatus.RETRIED] if fault.startswith("host-asleep") else []
        assert [reading.status for reading in readings] == again + [ReadingStatus.VALID] * 4
        assert world.wrong(readings) == []
        # Monotonic time is in order whatever the wall clock does.
        assert [r.started_s for r in readings] == sorted(r.started_s for r in readings)
        waited_s = max(later.started_s - r.started_s for r, later in pairwise(readings))
        assert (waited_s > 20.0) == fault.startswith("store-locked")
        walls = [dt.datetime.fromisoformat(reading.started_utc) for reading in readings]
        gaps_s = [(later - wall).total_seconds() for wall, later in pairwise(walls)]
        if not fault.startswith("store-locked"):
            step_s = float(fault.partition("=")[2].partition("@")[0])
            assert any(gap_s == pytest.approx(step_s, abs=5.0) for gap_s in gaps_s)


# After the commit it is there, before the commit it is not; in neither case twice.
@pytest.mark.parametrize(
    ("fault", "readings"), [("power-cut-before-acknowledge=1@6", 6), ("power-cut-before-acknowledge=2@6", 5)]
)
def test_power_that_is_cut_loses_at_most_what_was_not_committed(tmp_path: Path, fault: str, readings: int) -> None:
    store = tmp_path / "runs.sqlite"
    command = [sys.executable, "-m", "harness.app.main", "sweep", JOB, "--unit", "A1", "--fault", fault]
    command += ["--store", str(store), "--reports", str(tmp_path / "pages")]
    ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60, check=False)
    assert ended.returncode == -9, ended.stderr
    assert kept(store) == readings


def test_faults_of_the_process_need_the_bench_in_it(gainladder: Any) -> None:
    with pytest.raises(
        UsageError, match=r"fault disk-full: acts in the tool's own process; .* use a job or bench with"
    ):
        read_fault("disk-full", unit=SkerryTruth(), in_process=False)
    ended = gainladder("sweep", "configs/jobs/demo.toml", "--fault", "link-deaf:source")
    assert ended.code == 2
    assert 'transport = "in-process"' in ended.err


def test_the_wall_clock_steps_and_monotonic_time_does_not() -> None:
    clock = JumpClock(epoch=dt.datetime(2026, 1, 1, 12, tzinfo=dt.UTC))
    clock.sleep(2.0)
    clock.step_wall(-3600.0)
    assert clock.now_s() == 2.0
    assert clock.utc() == "2026-01-01T11:00:02.000000+00:00"


@pytest.fixture
def link(request: pytest.FixtureRequest) -> MemoryLink:
    """The device's link of a bench with one fault."""
    from harness.app.files import FileSet
    from harness.app.setup import read_bench
    from harness.simulated import build_world

    setup = read_bench(FileSet(), str(ROOT / "configs" / "benches" / "simulated.toml"))
    assert setup is not None
    world = build_world(setup.file, seed=1, faults=(request.param,), clock=JumpClock(), file="bench")
    made = world.link("device")
    world.course.records = 1
    return made


@pytest.mark.parametrize("link", ["link-deaf:device=3@1"], indirect=True)
def test_a_deaf_peer_is_a_time_out_of_the_write(link: MemoryLink) -> None:
    with pytest.raises(WriteTimeout, match="nothing was taken within 5 s; the link is suspect: reopen it before use"):
        link.write(b"*IDN?\n")
    link.write(b"*IDN?\n")
    assert link.read_line().startswith(b"Skerry")


@pytest.mark.parametrize("link", ["link-closed-by-peer:device=2@1"], indirect=True)
def test_a_peer_that_stays_away_for_a_while(link: MemoryLink) -> None:
    link.write(b"*IDN?\n")
    with pytest.raises(LinkLost, match="the peer has closed the link"):
        link.read_line()
    for _ in range(2):
        with pytest.raises(OpenFailed, match="nobody listens there; check power and cable"):
            link.reopen()
    link.reopen()
    link.write(b"*IDN?\n")
    assert link.read_line().startswith(b"Skerry")
