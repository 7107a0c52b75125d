"""Which runs of a store make a lot: each unit's last run of the same job on the same device."""

from __future__ import annotations

from harness.app.run import judged
from harness.errors import UsageError
from harness.store import Store
from harness.values import RunHeader, RunInfo, RunResult

SAME = ("job", "device")
"""Files that all runs of a lot have alike."""


def lot_runs(
    store: Store, *, like: str = "", limits_path: str = ""
) -> tuple[list[tuple[RunHeader, RunResult]], list[tuple[str, str]]]:
    """The runs of a lot, oldest first, judged; and run id and reason of each one left out.

    Like the named run, else like the last one. Judged from the record, with their own limits or others.
    """
    infos = sorted(store.runs(), key=lambda info: info.header.run_id)
    if not infos:
        raise UsageError("report --lot: the store holds no run; sweep a unit first, or name another store with --store")
    model = _files(store.header(store.resolve(like)) if like else infos[-1].header)
    left_out: list[tuple[str, str]] = []
    last: dict[str, RunInfo] = {}
    for info in infos:
        if _files(info.header) != model:
            left_out.append((info.header.run_id, "another job or device file"))
            continue
        replaced = last.pop(info.header.unit, None)
        if replaced is not None:
            left_out.append((replaced.header.run_id, f"unit {info.header.unit} was run again"))
        last[info.header.unit] = info
    return [judged(store, info.header.run_id, limits_path=limits_path) for info in last.values()], left_out


def _files(header: RunHeader) -> tuple[str, ...]:
    return tuple(header.file(role).sha256 for role in SAME)
