"""A run's summary as a row and back, and the one place that writes it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from harness.errors import StoreError
from harness.store.schema import RUNS, SUMMARIES, since_of
from harness.store.store import Store
from harness.values import Charted, HeldItem, Outcome, RunSummary

_ENCODER = json.JSONEncoder(separators=(",", ":"), allow_nan=False, ensure_ascii=False)


def keep_summary(store: Store, summary: RunSummary) -> None:
    """Make a run's summary durable, in place of an earlier one.

    Raises:
        RunNotFound: no run has that id.
        StoreError: a number is not finite; nothing was written.
        StoreUnavailable: full, locked, read-only or closed.
    """
    doing = f"keeping the summary of run {summary.run_id}"
    row = _row_of(summary)
    store.info(summary.run_id)
    with store.changing(doing) as connection:
        number = connection.execute(select(RUNS.c.number).where(RUNS.c.run_id == summary.run_id)).scalar_one()
        put_summary(connection, number, row)


def put_summary(connection: Connection, number: int, row: Mapping[str, Any]) -> None:
    """Write the row of a summary under a run's number, in the caller's transaction."""
    connection.execute(delete(SUMMARIES).where(SUMMARIES.c.run == number))
    connection.execute(insert(SUMMARIES), {**row, "run": number})


def summary_row(connection: Connection, version: int, number: int) -> dict[str, Any] | None:
    """The row of a run's summary, without the run's number; None where there is none."""
    if version < since_of(SUMMARIES):
        return None
    row = connection.execute(select(SUMMARIES).where(SUMMARIES.c.run == number)).first()
    return None if row is None else {name: value for name, value in row._asdict().items() if name != "run"}


def summary_of_row(row: Mapping[str, Any], run_id: str) -> RunSummary:
    """A summary of its row.

    Raises:
        StoreError: the row is damaged.
    """
    try:
        facts = json.loads(row["facts"])
        return RunSummary(
            run_id=run_id,
            at_utc=row["at_utc"],
            software=row["software"],
            limits_sha256=row["limits"],
            verdict=Outcome(row["verdict"]),
            complete=bool(row["complete"]),
            seconds=row["seconds"],
            tested=row["tested"],
            failing=row["failing"],
            items=tuple(map(HeldItem._make, facts["items"])),
            diagnoses=tuple(facts["diagnoses"]),
            invalid=tuple((text, count) for text, count in facts["invalid"]),
            charted=tuple(map(Charted._make, facts["charted"])),
        )
    except (ValueError, TypeError, KeyError) as error:
        raise StoreError(
            f"run {run_id}: its summary is damaged ({error}): judge the run again with `gainladder lot --keep`"
        ) from error


def _row_of(summary: RunSummary) -> dict[str, Any]:
    facts = {
        "items": summary.items,
        "diagnoses": summary.diagnoses,
        "invalid": summary.invalid,
        "charted": summary.charted,
    }
    try:
        text = _ENCODER.encode(facts)
    except ValueError as error:
        raise StoreError(f"run {summary.run_id}: its summary is not finite ({error}): nothing was written") from error
    return {
        "at_utc": summary.at_utc, "software": summary.software, "limits": summary.limits_sha256,
        "verdict": str(summary.verdict), "complete": int(summary.complete), "seconds": summary.seconds,
        "tested": summary.tested, "failing": summary.failing, "facts": text,
    }  # fmt: skip
