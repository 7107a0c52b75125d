"""How fast the simulated bench is in process, on one core, and which share of a sweep is spent in it.

Seconds are those of the processor: one thread, so one core, whatever else the machine does.

Run: python -m tests.benchmarks.simulated

readings_per_s: ladder of the demo, every setting up and down, nothing stored and nothing judged.
simulator_share: time inside the links, that is instruments and physics, over the time of that sweep.
ci_sweep_s: the short ladder from the first command to the last.
"""

from __future__ import annotations

import time
from pathlib import Path
from unittest import mock

from harness.app.bench_open import open_bench
from harness.app.run import plan_of
from harness.app.setup import read_setup
from harness.simulated.link import MemoryLink
from harness.sweep import sweep

CONFIGS = Path(__file__).resolve().parents[2] / "configs"


class _Counted:
    """A recorder that counts."""

    def __init__(self):
        self.readings = 0

    def record(self, reading):
        self.readings += 1

    def note(self, kind, text):
        pass


def _swept(job, *, spent=None):
    """Readings and seconds of one sweep; `spent` collects the seconds inside the links."""
    setup = read_setup(str(CONFIGS / "jobs" / f"{job}.toml"))
    counted = _Counted()
    write = MemoryLink.write

    def timed(link, message):
        start = time.process_time()
        try:
            write(link, message)
        finally:
            spent.append(time.process_time() - start)

    with (
        mock.patch.object(MemoryLink, "write", timed if spent is not None else write),
        open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=()) as opened,
    ):
        if spent is not None:
            spent.clear()
        start = time.process_time()
        sweep(opened.bench, plan_of(setup), counted, progress=lambda done, reading: None)
        return counted.readings, time.process_time() - start


def measure():
    """All figures."""
    _swept("ci")
    ci_s = min(_swept("ci")[1] for _ in range(5))
    runs = [_swept("demo") for _ in range(3)]
    readings, demo_s = min(runs, key=lambda run: run[1])
    spent = []
    _, with_timer_s = _swept("demo", spent=spent)
    return {
        "ci_sweep_s": ci_s,
        "demo_sweep_s": demo_s,
        "demo_readings": float(readings),
        "readings_per_s": readings / demo_s,
        "simulator_share": sum(spent) / with_timer_s,
    }


def main():
    for name, value in measure().items():
        print(f"{name:<20}{value:>12.4g}")


if __name__ == "__main__":
    main()
