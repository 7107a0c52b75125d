"""Which runs of a store make a lot: each unit's last run of the same job on the same device."""

from __future__ import annotations

from harness.app.run import judged
from harness.errors import UsageError
from harness.store import Store, noted
from harness.values import GOLDEN_UNIT, RunHeader, RunInfo, RunResult

SAME = ("job", "device")
"""Files that all runs of a lot have alike."""


def lot_runs(
    store: Store, *, like: str = "", limits_path: str = ""
) -> tuple[list[tuple[RunHeader, RunResult]], list[tuple[str, str]]]:
    """The runs of a lot, oldest first, judged; and run id and reason of each one left out.

    Like the named run, else like the last one. Judged from the record, with their own limits or others. Runs of a
    golden unit say something about the station and are none of it.

    UsageError: no run is left.
    """
    # Runs begun within one second keep the order of their records.
    infos = sorted(store.runs(), key=lambda info: info.header.started_utc, reverse=True)[::-1]
    if not infos:
        raise UsageError("report --lot: the store holds no run; sweep a unit first, or name another store with --store")
    model = store.header(store.resolve(like)) if like else infos[-1].header
    golden = {run_id for run_id, _ in noted(store, GOLDEN_UNIT)}
    left_out: list[tuple[str, str]] = []
    last: dict[str, RunInfo] = {}
    for info in infos:
        if _files(info.header) != _files(model):
            left_out.append((info.header.run_id, "another job or device file"))
            continue
        if info.header.run_id in golden:
            left_out.append((info.header.run_id, "of a golden unit"))
            continue
        replaced = last.pop(info.header.unit, None)
        if replaced is not None:
            left_out.append((replaced.header.run_id, f"unit {info.header.unit} was run again"))
        last[info.header.unit] = info
    if not last:
        raise UsageError(
            f"report --lot: every run of {model.file('job').path} is a golden check; sweep a unit first, or name a run "
            "of another job"
        )
    return [judged(store, info.header.run_id, limits_path=limits_path) for info in last.values()], left_out


def _files(header: RunHeader) -> tuple[str, ...]:
    return tuple(header.file(role).sha256 for role in SAME)
