"""What is carried from one store to another: a run's header and some of its rows, as they stand in the tables."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, func, insert, select, update

from harness.errors import StoreError, StoreUnavailable
from harness.store.chain import header_hash
from harness.store.dropped_row import dropped_of
from harness.store.run_row import insert_texts
from harness.store.schema import DROPPED, EVENTS, FILES, READINGS, RUN_FILES, RUNS, VERSION
from harness.store.server import hold
from harness.store.summary_row import put_summary, summary_row

Rows = Sequence[dict[str, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Parcel:
    """Part of a run, as it was at one moment."""

    run: dict[str, Any]
    """Its row of runs."""
    start: str
    """The hash of its header."""
    files: Rows
    names: Rows
    """Its rows of run_files."""
    readings: Rows
    dropped: Rows
    """What is kept of those readings whose raw data were dropped."""
    events: Rows
    events_before: int
    """How many lines of the journal come before those in here."""
    summary: dict[str, Any] | None
    """Its row of summaries; None without one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class There:
    """How much of a run a store holds."""

    readings: frozenset[int] = frozenset()
    events: int = 0
    end: str | None = None
    """None: not even its header."""


def pack(connection: Connection, number: int, readings: Collection[int], events_before: int, most: int) -> Parcel:
    """Some readings of a run and the journal from a line on, from a store of today's schema."""
    run = connection.execute(select(RUNS).where(RUNS.c.number == number)).one()._asdict()
    names = _rows(connection, RUN_FILES, number, RUN_FILES.c.position)
    used = select(FILES).where(FILES.c.sha256.in_({row["sha256"] for row in names}))
    events = select(EVENTS).where(EVENTS.c.run == number).order_by(EVENTS.c.number).offset(events_before).limit(most)
    ends = {"after": min(readings) - 1, "last": max(readings)} if readings else {"last": -1}
    dropped = dropped_of(connection, VERSION, number, **ends)
    rows = select(READINGS).where(READINGS.c.run == number, READINGS.c.reading.in_(readings))
    return Parcel(
        run=run,
        start=header_hash(connection, number, VERSION),
        files=[row._asdict() for row in connection.execute(used)],
        names=names,
        readings=[row._asdict() for row in connection.execute(rows.order_by(READINGS.c.reading))],
        dropped=[dict(row) for index, row in dropped.items() if index in readings],
        events=[row._asdict() for row in connection.execute(events)],
        events_before=events_before,
        summary=summary_row(connection, VERSION, number),
    )


def there(connection: Connection, run_id: str) -> There:
    """What a store holds of a run."""
    run = connection.execute(select(RUNS.c.number, RUNS.c.end).where(RUNS.c.run_id == run_id)).first()
    if run is None:
        return There()
    indices = connection.execute(select(READINGS.c.reading).where(READINGS.c.run == run.number)).scalars()
    counting = select(func.count()).select_from(EVENTS).where(EVENTS.c.run == run.number)
    return There(readings=frozenset(indices), events=int(connection.execute(counting).scalar_one()), end=run.end)


def unpack(connection: Connection, parcel: Parcel, place: str) -> None:
    """Put a parcel into a store, in the caller's transaction; what is there already is left as it is.

    Raises:
        StoreError: the store holds another run, or another reading, under the same name.
    """
    run_id = parcel.run["run_id"]
    hold(connection, f"run {run_id}")
    number = connection.execute(select(RUNS.c.number).where(RUNS.c.run_id == run_id)).scalar()
    if number is None:
        number = _insert_header(connection, parcel)
    elif header_hash(connection, number, VERSION) != parcel.start:
        raise StoreError(
            f"store {place}: run {run_id} is there with another header: two stations have given the same id; "
            "nothing was forwarded of it"
        )
    _insert_readings(connection, number, parcel, f"store {place}: run {run_id}")
    _insert_events(connection, number, parcel, f"store {place}: run {run_id}")
    state = {name: parcel.run[name] for name in ("finished_utc", "end")}
    ends = {**_chain(connection, number, parcel), **_journal(connection, number, parcel.start)}
    connection.execute(update(RUNS).where(RUNS.c.number == number), {**state, **ends})
    if parcel.summary is not None:
        put_summary(connection, number, parcel.summary)


def _insert_header(connection: Connection, parcel: Parcel) -> int:
    insert_texts(connection, {row["sha256"]: row["text"] for row in parcel.files})
    header = {name: value for name, value in parcel.run.items() if name != "number"}
    number = int(connection.execute(insert(RUNS).returning(RUNS.c.number), header).scalar_one())
    for row in parcel.names:
        connection.execute(insert(RUN_FILES), {**row, "run": number})
    return number


def _insert_readings(connection: Connection, number: int, parcel: Parcel, place: str) -> None:
    indices = [row["reading"] for row in parcel.readings]
    query = select(READINGS.c.reading, READINGS.c.own_hash).where(
        READINGS.c.run == number, READINGS.c.reading.in_(indices)
    )
    known = {row.reading: row.own_hash for row in connection.execute(query)}
    for row in parcel.readings:
        if row["reading"] in known and known[row["reading"]] != row["own_hash"]:
            raise StoreError(
                f"{place}: reading {row['reading']} is there and is another one: see both with `gainladder store check`"
            )
    new = [{**row, "run": number} for row in parcel.readings if row["reading"] not in known]
    if new:
        connection.execute(insert(READINGS), new)
    # Raw data that came before they were dropped at the station stay.
    kept = [{**row, "run": number} for row in parcel.dropped if row["reading"] not in known]
    if kept:
        connection.execute(insert(DROPPED), kept)


def _insert_events(connection: Connection, number: int, parcel: Parcel, place: str) -> None:
    counting = select(func.count()).select_from(EVENTS).where(EVENTS.c.run == number)
    known = int(connection.execute(counting).scalar_one())
    if known < parcel.events_before:
        raise StoreUnavailable(
            f"{place}: {known} lines of its journal are left of {parcel.events_before}: the store was changed "
            "meanwhile; forward again"
        )
    new = [
        {**{name: value for name, value in row.items() if name != "number"}, "run": number}
        for row in parcel.events[known - parcel.events_before :]
    ]
    if new:
        connection.execute(insert(EVENTS), new)


def _chain(connection: Connection, number: int, parcel: Parcel) -> dict[str, Any]:
    """The end of the chain as far as it has come: so a run that is half here is a whole one, only shorter."""
    counting = select(func.count()).select_from(READINGS).where(READINGS.c.run == number)
    count = int(connection.execute(counting).scalar_one())
    if count == parcel.run["chain_length"]:
        return {"chain_head": parcel.run["chain_head"], "chain_length": count}
    last = select(READINGS.c.own_hash).where(READINGS.c.run == number).order_by(READINGS.c.reading.desc()).limit(1)
    return {"chain_head": connection.execute(last).scalar() or parcel.start, "chain_length": count}


def _journal(connection: Connection, number: int, start: str) -> dict[str, Any]:
    """The same of the journal, which comes in order: its end is the last line that is here."""
    lines = select(EVENTS.c.own_hash).where(EVENTS.c.run == number).order_by(EVENTS.c.number.desc()).limit(1)
    counting = select(func.count()).select_from(EVENTS).where(EVENTS.c.run == number)
    return {
        "journal_head": connection.execute(lines).scalar() or start,
        "journal_length": int(connection.execute(counting).scalar_one()),
    }


def _rows(connection: Connection, table: Table, number: int, order: Any) -> list[dict[str, Any]]:
    query = select(table).where(table.c.run == number).order_by(order)
    return [row._asdict() for row in connection.execute(query)]
