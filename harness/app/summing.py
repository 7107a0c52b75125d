"""The summary of a judged run, with the time it took."""

from __future__ import annotations

from datetime import datetime

from harness.app.version import version
from harness.drivers import RealClock
from harness.judge.lot import summary_of
from harness.store import Store
from harness.values import RunHeader, RunResult, RunSummary


def summarised(store: Store, header: RunHeader, result: RunResult) -> RunSummary:
    """What a lot needs of a run that was judged from its record."""
    seconds = _seconds(header.started_utc, store.info(header.run_id).finished_utc)
    return summary_of(header, result, at_utc=RealClock().utc(), seconds=seconds, software=version())


def _seconds(begin_utc: str, end_utc: str) -> float | None:
    """None without an end, or where the wall clock was set back meanwhile."""
    if not end_utc:
        return None
    seconds = (datetime.fromisoformat(end_utc) - datetime.fromisoformat(begin_utc)).total_seconds()
    return seconds if seconds >= 0.0 else None
