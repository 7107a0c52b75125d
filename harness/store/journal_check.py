"""Is a run's journal whole? A line that was changed, removed or put in breaks its chain."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, select

from harness.store.chain import event_hash
from harness.store.schema import EVENTS, RUNS, since_of


def journal_faults(connection: Connection, version: int, run: int, place: str, start: str) -> Iterator[str]:
    """What is wrong with the chain over a journal, from the hash of the run's header on; nothing in an older store."""
    if version < since_of(EVENTS.c.own_hash):
        return
    head, count = start, 0
    query = select(EVENTS).where(EVENTS.c.run == run).order_by(EVENTS.c.number)
    for row in connection.execute(query):
        count += 1
        line = f"{place}line {count} of its journal ({row.at_utc}, {row.kind})"
        if not row.previous_hash or not row.own_hash:
            yield f"{line} carries no hash: it was put in by another program"
            continue
        if event_hash(row._asdict(), row.previous_hash) != row.own_hash:
            yield f"{line} was changed after it was written: its hash is not that of its content"
        if row.previous_hash != head:
            yield f"{line} does not follow the one before: a line was removed there, put in, or the header was changed"
        head = row.own_hash
    ends = connection.execute(select(RUNS.c.journal_head, RUNS.c.journal_length).where(RUNS.c.number == run)).one()
    # Without a line of either, a changed header is told by the chain of the readings.
    if (head, count) != tuple(ends) and (count or ends.journal_length):
        yield f"{place}its journal was cut off or added to: {ends.journal_length} lines were written, {count} are there"
