"""The book of a station: a run without readings, whose journal takes what belongs to no run.

So its lines have the chain, the check, the forwarding and the export of every journal. Lists of runs leave it out.
"""

from __future__ import annotations

import secrets

from sqlalchemy import select

from harness.store.notes import add_note
from harness.store.recorder import Clock
from harness.store.schema import RUNS
from harness.store.store import Store
from harness.values import BOOK, Event, RunHeader


def book_of(store: Store, station: str, clock: Clock, *, software: str) -> str:
    """The run that is the book of a station in this store; begun where there is none.

    Raises:
        StoreUnavailable: full, locked, read-only or closed.
    """
    query = select(RUNS.c.run_id).where(RUNS.c.mode == BOOK, RUNS.c.unit == station).order_by(RUNS.c.number)
    with store.viewing(f"looking for the book of {station}") as connection:
        found = connection.execute(query).scalars().first()
    if found is not None:
        return str(found)
    utc = clock.utc()
    stamp = utc[:19].replace("-", "").replace(":", "")
    header = RunHeader(
        run_id=f"{stamp}-book-{secrets.token_hex(4)}", unit=station, operator="", started_utc=utc, mode=BOOK,
        seed=None, faults=(), planned=0, identities=(), files=(), software=software,
    )  # fmt: skip
    store.begin(header, clock)
    return header.run_id


def write_in_book(store: Store, station: str, kind: str, text: str, clock: Clock, *, software: str) -> Event:
    """Commit a line of a station's book.

    Raises:
        StoreUnavailable: full, locked, read-only or closed.
    """
    return add_note(store, book_of(store, station, clock, software=software), kind, text, clock)
