"""What this process computes while no instrument has anything to do: between one's answer and the next one's message.

Run: python -m tests.benchmarks.between

The sweep of `overhead_realistic` in memory. The simulation computes only inside the links, so what passes from the end
of one call of a link of source or device to the next is ours; of each such gap the shortest of several sweeps, for
another process only ever adds to it. What is done while a record is taken stands between a message and its answer.

between_answers_us: all gaps between an answer and the next message, a reading.
computed_over_floor: waits of the ladder and these gaps, over the least sum of waits. What the libraries and the system
need to carry a message is not in it: `overhead_realistic` has that as well.
"""

from __future__ import annotations

import itertools
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from unittest import mock

from harness.app import bench_open
from harness.app.run import plan_of
from harness.simulated.link import MemoryLink
from harness.sweep import sweep
from tests.benchmarks import overhead

SWEEPS = 7
CALLS = ("write", "read_line", "read_exactly")


def _noting(name: str, calls: list[tuple[str, float, float]]) -> Callable[..., object]:
    """A call of a link that notes its name, when it began and when it ended."""
    call = getattr(MemoryLink, name)

    def noted(link: MemoryLink, wanted: object = None) -> object:
        start_s = time.perf_counter()
        answer = call(link) if wanted is None else call(link, wanted)
        if link.line.role in ("source", "device"):
            calls.append((name, start_s, time.perf_counter()))
        return answer

    return noted


def _gaps_s(setup) -> list[float]:
    """From each answer to the message behind it, from the first reading to the last."""
    calls: list[tuple[str, float, float]] = []
    began: list[int] = []
    kept = overhead._Kept([])
    with (
        bench_open.open_bench(setup.bench, setup.device, transport="in-process", seed=1, faults=()) as opened,
        mock.patch.multiple(MemoryLink, **{name: _noting(name, calls) for name in CALLS}),
    ):
        sweep(opened.bench, plan_of(setup), kept, progress=lambda done, reading: began.append(len(calls)))
    ladder = calls[began[0] : began[-1]]
    pairs = itertools.pairwise(ladder)
    return [later[1] - before[2] for before, later in pairs if before[0] != "write" and later[0] == "write"]


def measure() -> dict[str, float]:
    """Both figures."""
    with tempfile.TemporaryDirectory() as folder:
        setup = overhead._setup(Path(folder), overhead.REALISTIC, record_s=overhead.RECORD_S)
        sweeps = [_gaps_s(setup) for _ in range(SWEEPS)]
        waits_s, floor_s = overhead.waited_s(setup), overhead.floor_s(setup)
    readings = len(setup.rungs)
    gaps_s = sum(map(min, zip(*sweeps, strict=True))) * readings / (readings - 1)
    return {"between_answers_us": 1e6 * gaps_s / readings, "computed_over_floor": (waits_s + gaps_s) / floor_s}


if __name__ == "__main__":
    for figure, value in measure().items():
        print(f"{figure:28s} {value:10.3f}")
