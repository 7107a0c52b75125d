"""One station of a plant: it records into a file of its own and forwards beside that, as a sweep does.

`python -m tests.stations.station FOLDER URL NAME RUNS READINGS` announces each reading on stdout once it is durable.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

from harness.app.forward_beside import forwarding_beside
from harness.drivers import RealClock
from harness.store import open_store, write_in_book
from harness.values import REMARK
from tests.store.conftest import header, reading

PAUSE_S = 0.002
"""Between two readings: far less than any device takes."""


def work(folder: Path, url: str, name: str, runs: int, readings: int, announce: Callable[[str], None]) -> None:
    """Record so many runs; each also has lines of its journal, and the station a line in its book."""
    path = str(folder / f"{name}.sqlite")
    clock = RealClock()
    with open_store(path) as store, forwarding_beside(store, path, url):
        for run in range(runs):
            recorder = store.begin(header(f"{name}-{run:03d}", unit=f"{name}-{run}"), clock)
            for index in range(readings):
                recorder.record(reading(index + 1000 * run, samples=200))
                announce(f"{name}-{run:03d} {index + 1000 * run}")
                time.sleep(PAUSE_S)
            recorder.note("note", f"of {name}")
            recorder.finish("finished")
            write_in_book(store, name, REMARK, f"run {run} over", clock, software="")


if __name__ == "__main__":
    folder, url, name, runs, readings = sys.argv[1:]
    work(Path(folder), url, name, int(runs), int(readings), lambda text: print(text, flush=True))
