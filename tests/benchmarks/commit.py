"""What a durable reading costs: commits a second against the bare driver with the same durability; and the memory.

Run: python -m tests.benchmarks.commit

The yardstick is the shortest program that keeps the same reading as safely: it packs the same arrays in the same way
and inserts one row for each commit, by sqlite3 alone, write-ahead log, full sync. It has no chain of hashes, no checks
and no words for what goes wrong. `over_ready_rows` leaves the packing out on its side only.
"""

from __future__ import annotations

import itertools
import resource
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from harness.store import open_store
from harness.store.reading_row import row_of
from harness.values import Capture, Direction, Identity, Reading, ReadingStatus, RunHeader, Setting, Waveform

SAMPLES, EVENTS = 2048, 120
BLOCK, BLOCKS = 100, 12
LONG = 100_000
"""Readings of the run whose memory is measured."""


class _Clock:
    def now_s(self) -> float:
        return time.monotonic()

    def utc(self) -> str:
        return "2026-11-25T10:00:00.000000Z"


def _header(run_id: str) -> RunHeader:
    device = Identity(manufacturer="Skerry", model="HR-4", serial="A1", firmware="2")
    return RunHeader(
        run_id=run_id, unit="A1", operator="", started_utc="2026-11-25T10:00:00.000000Z", mode="simulated", seed=1,
        faults=(), planned=1, identities=(("device", device),), files=(), software="0",
    )  # fmt: skip


def _reading(index: int, samples: int, events: int) -> Reading:
    rng = np.random.default_rng(index)
    angle = 2 * np.pi * 37 * np.arange(samples) / max(samples, 1)
    return Reading(
        index=index, setting=Setting(1, 2, index % 21), direction=Direction.UP, attempt=0, status=ReadingStatus.VALID,
        reason="", drive_set_vpk=0.1, drive_read_vpk=0.1, frequency_hz=997.0,
        waveform=Waveform(
            codes=(1500 * np.sin(angle) + rng.normal(0, 1, samples)).astype(np.int16), sample_rate_hz=1e5,
            scale_v_per_code=1e-3, sequence=index,
        ),
        capture=Capture(
            times_ns=np.cumsum(rng.integers(100, 900, events)).astype(np.int64),
            levels=rng.integers(0, 128, events).astype(np.uint8), initial=5, lines=("data", "clock", "latch-1"),
        ),
        capture_reason="", read_back=(("coarse", "3"), ("fine", "4")), messages=(),
        started_utc="2026-11-25T10:00:01.000000Z", started_s=12.5, duration_s=0.25,
    )  # fmt: skip


def _bare(path: Path) -> sqlite3.Connection:
    """A connection as safe as the store's, to a file with the store's tables."""
    with open_store(str(path)) as store:
        store.begin(_header("bare"), _Clock())
    connection = sqlite3.connect(path, isolation_level=None)
    for pragma in ("synchronous = FULL", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {pragma}")
    return connection


def _bare_block_s(connection: sqlite3.Connection, text: str, rows) -> float:
    start = time.perf_counter()
    for row in rows:
        connection.execute("BEGIN IMMEDIATE")
        connection.execute(text, (1, *row.values()))
        connection.execute("COMMIT")
    return time.perf_counter() - start


def _ratios(folder: Path) -> dict[str, float]:
    readings = [_reading(index, SAMPLES, EVENTS) for index in range(BLOCK)]
    names = list(row_of(readings[0], ""))
    text = f"INSERT INTO readings (run, {', '.join(names)}) VALUES ({', '.join('?' * (len(names) + 1))})"
    bare = _bare(folder / "bare.sqlite")
    times_s: dict[str, list[float]] = {"ours": [], "bare": [], "ready": []}
    numbers = itertools.count()
    with open_store(str(folder / "ours.sqlite")) as store:
        # Turn by turn, so that another process that keeps the disk busy slows all of them alike.
        for block in range(BLOCKS):
            recorder = store.begin(_header(f"ours-{block}"), _Clock())
            start = time.perf_counter()
            for reading in readings:
                recorder.record(reading)
            times_s["ours"].append(time.perf_counter() - start)
            packed = ({**row_of(one, ""), "reading": next(numbers)} for one in readings)
            times_s["bare"].append(_bare_block_s(bare, text, packed))
            ready = [{**row_of(one, ""), "reading": next(numbers)} for one in readings]
            times_s["ready"].append(_bare_block_s(bare, text, ready))
    bare.close()
    ours_s = times_s["ours"]
    return {
        "commit_ratio": statistics.median(b / o for b, o in zip(times_s["bare"], ours_s, strict=True)),
        "over_ready_rows": statistics.median(b / o for b, o in zip(times_s["ready"], ours_s, strict=True)),
        "commits_per_s": BLOCK / min(ours_s),
        "bare_commits_per_s": BLOCK / min(times_s["bare"]),
    }


def _peak_mb() -> float:
    """Of this process alone: where the system tells no better, the figure begins with the peak of who started it."""
    status = Path("/proc/self/status")
    lines = status.read_text().splitlines() if status.exists() else []
    own_kb = next((float(line.split()[1]) for line in lines if line.startswith("VmHWM")), 0.0)
    return (own_kb or float(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)) / 1024


def long_run(path: str) -> None:
    """Record a long run, read it back and check it; print the peak of the memory after a tenth of it and at the end."""
    peaks_mb = []
    with open_store(path) as store:
        recorder = store.begin(_header("long"), _Clock())
        for index in range(LONG):
            recorder.record(_reading(index, 256, 24))
            if index == LONG // 10:
                sum(1 for _ in store.readings("long"))
                peaks_mb.append(_peak_mb())
        if sum(1 for _ in store.readings("long")) != LONG or store.check().faults:
            raise SystemExit("the long run is not whole")
    peaks_mb.append(_peak_mb())
    print(*peaks_mb)


def measure() -> dict[str, float]:
    """The ratio with its goal, what is behind it, and the memory of a process that records 100,000 readings."""
    with tempfile.TemporaryDirectory() as folder:
        figures = _ratios(Path(folder))
        words = f"from tests.benchmarks.commit import long_run; long_run({str(Path(folder) / 'long.sqlite')!r})"
        said = subprocess.run([sys.executable, "-c", words], check=True, capture_output=True, text=True).stdout.split()
    return {**figures, "store_memory_mb": float(said[1]), "store_memory_at_a_tenth_mb": float(said[0])}


if __name__ == "__main__":
    for name, value in measure().items():
        print(f"{name:28s} {value:10.3f}")
