"""Runs judged anew from their raw records, one after another or many at once on a cluster, in the order of the lot."""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from typing import Any, Protocol

from harness.errors import GainladderError, StoreError
from harness.lot.choice import Head, Lot
from harness.values import RunSummary

WINDOW = 16
"""Runs under way or waiting for their turn, for each worker: bounds the memory, keeps all busy past a long one."""
Judge = Callable[[str], RunSummary]
"""Judges a run from its raw record, by its id; on a cluster it goes to the workers, so it is a function of a module."""


class Workers(Protocol):
    """Whoever takes work: an executor of the standard library, or a cluster."""

    def submit(self, work: Judge, run_id: str) -> Any:
        """Something whose `result()` waits for the summary, or raises what the work has raised."""
        ...


class RejudgedLot:
    """A lot whose summaries are made anew; what cannot be judged is left out and counted."""

    def __init__(self, lot: Lot, judge: Judge, workers: Workers, *, count: int) -> None:
        """Take a lot, what judges, who works, and how many they are."""
        self._lot = lot
        self._judge = judge
        self._workers = workers
        self._window = max(count, 1) * WINDOW
        self._failed: dict[str, GainladderError] = {}
        self.done = 0
        """Runs that were judged."""

    def heads(self) -> list[Head]:
        """All runs, oldest first."""
        return self._lot.heads()

    def summaries(self, heads: Sequence[Head]) -> Iterator[tuple[Head, RunSummary | None]]:
        """The runs of some heads with their summaries, in their order; None where `failed` says why."""
        waiting = iter(heads)
        under_way: deque[tuple[Head, Any]] = deque()
        for head in waiting:
            under_way.append((head, self._workers.submit(self._judge, head.run_id)))
            if len(under_way) >= self._window:
                yield self._taken(*under_way.popleft())
        while under_way:
            yield self._taken(*under_way.popleft())

    def failed(self, run_id: str) -> RunSummary:
        """Raises what kept a run from being judged."""
        raise self._failed[run_id]

    def _taken(self, head: Head, future: Any) -> tuple[Head, RunSummary | None]:
        try:
            short = future.result()
        except GainladderError as error:
            self._failed[head.run_id] = error
            return head, None
        except Exception as error:
            # A worker that dies of the same run again and again is given up by the cluster, with an error of its own.
            if type(error).__name__ != "KilledWorker":
                raise
            self._failed[head.run_id] = StoreError(f"run {head.run_id}: {error}")
            return head, None
        self.done += 1
        return head, short


class Here:
    """Works at once, in this process."""

    def submit(self, work: Judge, run_id: str) -> Future[RunSummary]:
        """The work is done on return."""
        future: Future[RunSummary] = Future()
        try:
            future.set_result(work(run_id))
        except GainladderError as error:
            future.set_exception(error)
        return future


@contextlib.contextmanager
def cluster(address: str) -> Iterator[tuple[Workers, int]]:
    """Workers of a Dask cluster, and how many: at an address such as tcp://host:8786, or so many on this computer.

    Raises:
        StoreError: the cluster cannot be reached, or Dask is not installed.
    """
    import importlib.util
    import logging

    if importlib.util.find_spec("distributed") is None:
        raise StoreError("--cluster needs Dask, which is not installed: pip install 'gainladder[cluster]'")
    from distributed import Client, LocalCluster

    with contextlib.ExitStack() as stack:
        try:
            if address.isdecimal():
                local = LocalCluster(
                    n_workers=int(address), threads_per_worker=1, dashboard_address=None, silence_logs=logging.ERROR
                )
                stack.enter_context(local)
                client = stack.enter_context(Client(local))
            else:
                client = stack.enter_context(Client(address, timeout="10s"))
            count = len(client.scheduler_info()["workers"])
        except (OSError, ValueError, TimeoutError) as error:
            raise StoreError(
                f"--cluster {address}: cannot be reached ({error}): allowed is tcp://host:port of a scheduler that "
                "runs, or a number of workers"
            ) from error
        if not count:
            raise StoreError(f"--cluster {address}: has no worker: start some with `dask worker {address}`")
        yield _Dask(client), count


class _Dask:
    def __init__(self, client: Any) -> None:
        self._client = client

    def submit(self, work: Judge, run_id: str) -> Any:
        # Not pure: the same run is to be judged again when it is asked for again.
        return self._client.submit(work, run_id, pure=False)
