"""One process owns a run while it takes readings; others can see whether it still lives."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from harness.drivers import ResourceLock, resource_is_held
from harness.errors import ResourceBusy, UsageError


@contextlib.contextmanager
def owning(run_id: str) -> Iterator[None]:
    """Hold a run; freed by the system when the process dies. UsageError when another process holds it."""
    try:
        lock = ResourceLock(_name(run_id))
    except ResourceBusy as error:
        raise UsageError(f"run {run_id} is under way: {error.message}; `gainladder watch {run_id}` shows it") from error
    try:
        yield
    finally:
        lock.release()


def is_under_way(run_id: str) -> bool:
    """Whether a process on this computer holds the run."""
    return resource_is_held(_name(run_id))


def _name(run_id: str) -> str:
    return f"gainladder run {run_id}"
