"""Lines of journals across all runs, and lines that are added behind the end of a run."""

from __future__ import annotations

from sqlalchemy import select

from harness.store.chain import append_event
from harness.store.numbers import finite
from harness.store.recorder import Clock
from harness.store.schema import EVENTS, RUNS
from harness.store.store import Store
from harness.values import Event


def add_note(store: Store, run_id: str, kind: str, text: str, clock: Clock) -> Event:
    """Commit a line of a run's journal, also of one that has ended: what was decided about it.

    Raises:
        RunNotFound: no run has that id.
        StoreUnavailable: full, locked, read-only or closed.
    """
    store.info(run_id)
    at_s = finite(clock.now_s(), "at_s", f"run {run_id}, note {kind}")
    event = Event(at_utc=clock.utc(), at_s=at_s, kind=kind, text=text)
    row = {"at_utc": event.at_utc, "at_s": event.at_s, "kind": kind, "text": text}
    with store.changing(f"noting {kind} in run {run_id}") as connection:
        number = connection.execute(select(RUNS.c.number).where(RUNS.c.run_id == run_id)).scalar_one()
        append_event(connection, number, row)
    return event


def noted(store: Store, *kinds: str) -> tuple[tuple[str, Event], ...]:
    """The lines of some kinds in the journals of all runs, with the ids of the runs, in order of writing.

    Raises:
        StoreUnavailable: closed.
    """
    query = (
        select(RUNS.c.run_id, EVENTS.c.at_utc, EVENTS.c.at_s, EVENTS.c.kind, EVENTS.c.text)
        .join(RUNS, RUNS.c.number == EVENTS.c.run)
        .where(EVENTS.c.kind.in_(kinds))
        .order_by(EVENTS.c.number)
    )
    with store.viewing("looking for lines of journals") as connection:
        rows = connection.execute(query).all()
    return tuple((row.run_id, Event(at_utc=row.at_utc, at_s=row.at_s, kind=row.kind, text=row.text)) for row in rows)
