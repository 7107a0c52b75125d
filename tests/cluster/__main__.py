"""A lot judged anew on a cluster: `python -m tests.cluster [--units N] [--workers N]`.

Sweeps a small lot, judges it in this process, then on as many worker processes as asked for, one of which is killed in
the middle. Exit code 1 when the two differ, or nothing was killed.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import signal
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from harness.app.rejudging import judge_anew
from harness.lot import Asked, StoredLot, analyse
from harness.lot.rejudged import Here, RejudgedLot, cluster
from harness.store import open_store
from tests.cluster.runs import job_in, record

AFTER = 3
"""Summaries that have come back when the worker is killed: the rest are under way."""


class Killing:
    """A cluster of which a worker is killed once something has come back."""

    def __init__(self, workers: Any) -> None:
        self._workers = workers
        self._victim = 0
        self._back = 0
        self.killed = 0

    def submit(self, work: Any, run_id: str) -> Any:
        if not self._victim:
            self._victim = self._workers.submit(_own_process, "").result()
        return _Watched(self._workers.submit(work, run_id), self)

    def came_back(self) -> None:
        self._back += 1
        if self._back == AFTER:
            os.kill(self._victim, signal.SIGKILL)
            self.killed = self._victim


class _Watched:
    def __init__(self, future: Any, killing: Killing) -> None:
        self._future, self._killing = future, killing

    def result(self) -> Any:
        found = self._future.result()
        self._killing.came_back()
        return found


def _own_process(_: str) -> int:
    return os.getpid()


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.cluster", description=__doc__)
    parser.add_argument("--units", type=int, default=24)
    parser.add_argument("--workers", type=int, default=2)
    wanted = parser.parse_args(arguments)
    if importlib.util.find_spec("distributed") is None:
        print("not done: Dask is not installed: pip install 'gainladder[cluster]'")
        return 0
    with tempfile.TemporaryDirectory() as place:
        path = str(Path(place) / "lot.sqlite")
        with open_store(path) as store:
            record(store, job_in(Path(place)), wanted.units)
        judge = judge_anew(path, "")
        with open_store(path, read_only=True) as store:
            here = RejudgedLot(StoredLot(store), judge, Here(), count=1)
            serial = analyse(here, Asked(), summarise=here.failed)
            start_s = time.monotonic()
            with cluster(str(wanted.workers)) as (workers, count):
                killing = Killing(workers)
                there = RejudgedLot(StoredLot(store), judge, killing, count=count)
                spread = analyse(there, Asked(), summarise=there.failed)
    same = spread == serial
    print(f"{here.done} runs here, {there.done} on {count} workers in {time.monotonic() - start_s:.1f} s")
    print(f"worker process {killing.killed} was killed after {AFTER} runs" if killing.killed else "nothing was killed")
    print("the same" if same else f"DIFFERENT:\n{serial}\n{spread}")
    return 0 if same and killing.killed and there.done == wanted.units else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
