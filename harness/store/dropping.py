"""Drops the raw data of readings that were judged; the numbers they gave are durable in the same moment."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import bindparam, insert, select, update

from harness.errors import StoreError
from harness.store.chain import append_event
from harness.store.dropped_row import BLOBS, dropped_row
from harness.store.schema import DROPPED, READINGS, RUNS
from harness.store.store import Store
from harness.values import Event, Kept

DROPPED_KIND = "raw-data"
"""The kind of the journal's line about it."""
_PAGE = 64


def drop_raw(store: Store, run_id: str, kept: Mapping[int, Kept], line: Event) -> int:
    """Replace the raw data of readings, by index, by what is kept of them, and say so in the run's journal.

    One transaction: what was decided is durable before anything is gone, or nothing happens at all. What was dropped
    before stays as it is. Returns how many readings lost their raw data.

    Raises:
        RunNotFound: no run has that id.
        StoreError: the run has not ended, for a run that is gone on with needs what it had; a number is not finite.
        StoreUnavailable: full, locked, read-only or closed.
    """
    doing = f"dropping raw data of run {run_id}"
    if not store.info(run_id).end:
        raise StoreError(f"run {run_id}: {doing}: it has not ended; allowed after its end: nothing was dropped")
    clear = (
        update(READINGS)
        .where(READINGS.c.run == bindparam("its_run"), READINGS.c.reading == bindparam("its_reading"))
        .values(dict.fromkeys(BLOBS))
    )
    count = 0
    with store.changing(doing) as connection:
        number = connection.execute(select(RUNS.c.number).where(RUNS.c.run_id == run_id)).scalar_one()
        before = select(DROPPED.c.reading).where(DROPPED.c.run == number)
        left = sorted(kept.keys() - set(connection.execute(before).scalars()))
        for start in range(0, len(left), _PAGE):
            wanted = left[start : start + _PAGE]
            query = select(READINGS).where(READINGS.c.run == number, READINGS.c.reading.in_(wanted))
            rows = [row._asdict() for row in connection.execute(query)]
            rows = [row for row in rows if any(row[name] is not None for name in BLOBS)]
            if rows:
                new = [{"run": number, **dropped_row(kept[row["reading"]], row)} for row in rows]
                connection.execute(insert(DROPPED), new)
                connection.execute(clear, [{"its_run": number, "its_reading": row["reading"]} for row in rows])
                count += len(rows)
        if count:
            text = {"at_utc": line.at_utc, "at_s": line.at_s, "kind": line.kind, "text": line.text}
            append_event(connection, number, text)
    return count
