"""Copies the local journal to another store, a server's as a rule: a server that stands still never stops a unit.

What is there is left as it is, so that copying again after any death adds what is missing and nothing twice.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from types import TracebackType
from typing import Self

from sqlalchemy import delete, func, insert, select

from harness.errors import UsageError
from harness.store.address import ServerAddress, read_address
from harness.store.opening import open_store
from harness.store.parcel import There, pack, there, unpack
from harness.store.schema import EVENTS, FORWARDED, READINGS, RUNS, SUMMARIES, columns_at, since_of
from harness.store.server import require_driver
from harness.store.store import Store

_PARCEL = 128
"""Readings carried in one transaction: bounds the memory, and what is sent again after a death."""


_NOTHING = "-"
"""In place of an end: not even the header is confirmed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """What another store has not confirmed yet."""

    runs: int = 0
    readings: int = 0
    events: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    number: int
    run_id: str
    end: str
    readings: int
    events: int
    sent_readings: int
    sent_events: int
    sent_end: str | None
    summary: str
    sent_summary: str

    @property
    def waits(self) -> bool:
        sent = (self.sent_readings, self.sent_events, self.sent_end, self.sent_summary)
        return (self.readings, self.events, self.end, self.summary) != sent


class Forwarder:
    """From an open store, which must be open for writing, to the one at an address; connects when there is work."""

    def __init__(self, store: Store, url: str) -> None:
        address = read_address(url)
        if isinstance(address, ServerAddress):
            require_driver(address)
        self.target = address.shown
        if self.target == store.place:
            raise UsageError(f"store {self.target}: got the same store twice; allowed is to forward to another one")
        self._store = store
        self._url = url
        self._remote: Store | None = None
        self._there: dict[str, There] = {}
        self.touched: set[str] = set()
        """Ids of the runs of which something was sent."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the other store; idempotent."""
        self._there.clear()
        if self._remote is not None:
            self._remote.close()
            self._remote = None

    def waiting(self) -> Waiting:
        """How much the other store has not confirmed; asks only the local one."""
        return waiting_for(self._store, self.target)

    def expect(self) -> None:
        """Let others see what waits, from the first run on and also before the other store has confirmed anything."""
        doing = "beginning to forward"
        marked = select(FORWARDED.c.run).where(FORWARDED.c.target == self.target)
        query = select(RUNS.c.number).where(RUNS.c.number.not_in(marked))
        with self._store.viewing(doing) as connection:
            new = connection.execute(query).scalars().all()
        if new:
            nothing = {"target": self.target, "readings": 0, "events": 0, "end": _NOTHING}
            with self._store.changing(doing) as connection:
                connection.execute(insert(FORWARDED), [{**nothing, "run": number} for number in new])

    def compare_all(self) -> None:
        """Forget what was confirmed: the next `send` asks about every run, so a store that was restored is filled."""
        with self._store.changing("forgetting what was forwarded") as connection:
            connection.execute(delete(FORWARDED).where(FORWARDED.c.target == self.target))

    def send(self) -> Waiting:
        """Send all that waits, run by run; the number of rows that were sent.

        Raises:
            StoreUnavailable: the other store cannot be reached; what it has confirmed stays confirmed.
            StoreError: it holds something else under the same name.
        """
        runs = readings = events = 0
        try:
            for run in _runs(self._store, self.target):
                if run.waits:
                    sent = self._send_run(run)
                    runs, readings, events = runs + 1, readings + sent[0], events + sent[1]
        except BaseException:
            # Whatever the other side did or did not take: it is asked again.
            self.close()
            raise
        return Waiting(runs=runs, readings=readings, events=events)

    def _send_run(self, run: _Run) -> tuple[int, int]:
        if self._remote is None:
            self._remote = open_store(self._url)
        doing = f"forwarding run {run.run_id}"
        if run.run_id not in self._there:
            with self._remote.viewing(doing) as connection:
                self._there[run.run_id] = there(connection, run.run_id)
        known = self._there[run.run_id]
        with self._store.viewing(doing) as connection:
            query = select(READINGS.c.reading).where(READINGS.c.run == run.number).order_by(READINGS.c.reading)
            missing = [index for index in connection.execute(query).scalars() if index not in known.readings]
        counts = 0, 0
        for start in range(0, max(len(missing), 1), _PARCEL):
            sent = self._send_parcel(self._remote, run, missing[start : start + _PARCEL], doing)
            counts = counts[0] + sent[0], counts[1] + sent[1]
        while self._there[run.run_id].events < run.events:
            counts = counts[0], counts[1] + self._send_parcel(self._remote, run, [], doing)[1]
        return counts

    def _send_parcel(self, remote: Store, run: _Run, indices: list[int], doing: str) -> tuple[int, int]:
        known = self._there[run.run_id]
        with self._store.viewing(doing) as connection:
            parcel = pack(connection, run.number, indices, known.events, _PARCEL)
        with remote.changing(doing) as connection:
            unpack(connection, parcel, remote.place)
        now = There(
            readings=known.readings.union(indices), events=known.events + len(parcel.events), end=parcel.run["end"]
        )
        self._there[run.run_id] = now
        self.touched.add(run.run_id)
        mark = {"target": self.target, "run": run.number, "readings": len(now.readings), "events": now.events}
        with self._store.changing(doing) as connection:
            connection.execute(
                delete(FORWARDED).where(FORWARDED.c.target == self.target, FORWARDED.c.run == run.number)
            )
            short = parcel.summary["at_utc"] if parcel.summary else ""
            connection.execute(insert(FORWARDED), {**mark, "end": now.end, "summary": short})
        return len(indices), len(parcel.events)


def waiting_for(store: Store, target: str) -> Waiting:
    """How much of a store another one has not confirmed to hold."""
    runs = [run for run in _runs(store, target) if run.waits]
    return Waiting(
        runs=len(runs),
        readings=sum(run.readings - run.sent_readings for run in runs),
        events=sum(run.events - run.sent_events for run in runs),
    )


def targets(store: Store) -> tuple[str, ...]:
    """Where a store was ever forwarded to."""
    if store.version < since_of(FORWARDED):
        return ()
    with store.viewing("reading what was forwarded") as connection:
        query = select(FORWARDED.c.target).distinct().order_by(FORWARDED.c.target)
        return tuple(connection.execute(query).scalars())


def _runs(store: Store, target: str) -> Iterator[_Run]:
    with store.viewing("reading what was forwarded") as connection:
        counts = [
            {row[0]: int(row[1]) for row in connection.execute(select(table.c.run, func.count()).group_by(table.c.run))}
            for table in (READINGS, EVENTS)
        ]
        marking = select(*columns_at(FORWARDED, store.version)).where(FORWARDED.c.target == target)
        marks = {row.run: row for row in connection.execute(marking)}
        short = select(SUMMARIES.c.run, SUMMARIES.c.at_utc)
        briefs = connection.execute(short).all() if store.version >= since_of(SUMMARIES) else []
        made = {row.run: row.at_utc for row in briefs}
        rows = connection.execute(select(RUNS.c.number, RUNS.c.run_id, RUNS.c.end).order_by(RUNS.c.number)).all()
    for row in rows:
        mark = marks.get(row.number)
        yield _Run(
            number=row.number,
            run_id=row.run_id,
            end=row.end,
            readings=counts[0].get(row.number, 0),
            events=counts[1].get(row.number, 0),
            sent_readings=mark.readings if mark else 0,
            sent_events=mark.events if mark else 0,
            sent_end=mark.end if mark else None,
            summary=made.get(row.number, ""),
            sent_summary=mark.summary if mark else "",
        )
