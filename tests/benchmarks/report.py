"""What judging and reporting cost beyond what they cannot do without: the fits of the records, the drawing of figures.

Run: python -m tests.benchmarks.report

The whole ladder of the Corrie, one channel up and down, swept in memory and stored; seconds are those of the processor.
judge_over_fits: reading the record and judging all of it, over a least-squares fit of a sine to each record by numpy.
report_over_drawing: the page over the time that matplotlib takes in it to save its figures.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from unittest import mock

import numpy as np
from matplotlib.figure import Figure

from harness import report
from harness.app.bench_open import open_bench
from harness.app.closer_look import detail_of
from harness.app.run import RunRequest, judge_of, new_header, plan_of
from harness.app.setup import read_setup
from harness.store import Store, open_store
from harness.sweep import sweep

JOB = Path(__file__).resolve().parents[2] / "configs/jobs/corrie-ur-2.toml"
REPEATS = 5


def _least_s(work: Callable[[], object]) -> float:
    times_s = []
    for _ in range(REPEATS):
        start_s = time.process_time()
        work()
        times_s.append(time.process_time() - start_s)
    return min(times_s)


def _fit(codes: np.ndarray, columns: np.ndarray) -> float:
    first, second, _ = np.linalg.lstsq(columns, codes, rcond=None)[0]
    return float(np.hypot(first, second))


def _swept(store: Store) -> str:
    """A recorded run of a good unit; its id."""
    setup = read_setup(str(JOB))
    with open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=()) as opened:
        header = new_header(setup, opened, RunRequest(unit="A1", operator="", faults=()))
        recorder = store.begin(header, clock=opened.bench.clock)
        sweep(opened.bench, plan_of(setup), recorder, progress=lambda done, reading: None)
    return header.run_id


def _drawing_over(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds of the work, and those of them in which figures were saved: of the shortest of some runs."""
    save, spent_s = Figure.savefig, [0.0]

    def timed(figure: Figure, *wanted: object, **named: object) -> None:
        start_s = time.process_time()
        save(figure, *wanted, **named)  # type: ignore[arg-type]
        spent_s[0] += time.process_time() - start_s

    pairs = []
    with mock.patch.object(Figure, "savefig", timed):
        for _ in range(REPEATS):
            spent_s[0] = 0.0
            start_s = time.process_time()
            work()
            pairs.append((time.process_time() - start_s, spent_s[0]))
    return min(pairs)


def measure() -> dict[str, float]:
    """Both ratios, and the seconds behind them."""
    with tempfile.TemporaryDirectory() as folder, open_store(str(Path(folder, "s.sqlite"))) as store:
        run_id = _swept(store)
        header, setup = store.header(run_id), read_setup(str(JOB))
        waves = [one.waveform.codes for one in store.readings(run_id) if one.waveform is not None]
        angle = 2.0 * np.pi * setup.device.acquisition.cycles * np.arange(waves[0].size) / waves[0].size
        columns = np.column_stack([np.sin(angle), np.cos(angle), np.ones(angle.size)])
        fits_s = _least_s(lambda: [_fit(codes, columns) for codes in waves])

        def judge() -> object:
            judge = judge_of(setup)
            for reading in store.readings(run_id):
                judge.take(reading)
            return judge.result(store.events(run_id))

        judge_s = _least_s(judge)
        result = judge()
        page_s, drawing_s = _drawing_over(lambda: report.html(header, result, (), detail_of(store, header, result)))
    return {
        "judge_over_fits": judge_s / fits_s,
        "report_over_drawing": page_s / drawing_s,
        "judge_ms": 1e3 * judge_s,
        "fits_ms": 1e3 * fits_s,
        "report_ms": 1e3 * page_s,
        "drawing_ms": 1e3 * drawing_s,
        "records": float(len(waves)),
    }


if __name__ == "__main__":
    for figure, value in measure().items():
        print(f"{figure:28s} {value:10.3f}")
