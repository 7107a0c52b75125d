"""The store: begins runs and reads them back."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import Connection, delete, select, update

from harness.errors import StoreError, StoreUnavailable, UsageError
from harness.store.address import Address, ServerAddress
from harness.store.backup import backup
from harness.store.check import StoreCheck, check_store
from harness.store.connect import Reader, Writer
from harness.store.dropped_row import dropped_of
from harness.store.file import page_faults
from harness.store.find import find, not_found
from harness.store.reading_row import reading_of
from harness.store.recorder import Clock, RunRecorder
from harness.store.room import require_room, room_bytes
from harness.store.run_row import insert_run, read_infos, require_hashes
from harness.store.schema import EVENTS, READINGS, RUNS, SUMMARIES, columns_at
from harness.values import BOOK, Event, Reading, RunHeader, RunInfo, Setting

_PAGE = 16
"""Readings fetched at a time: bounds the memory whatever the length of the run."""


class Store:
    """An open store; made by `open_store`. Reading works while another process writes."""

    def __init__(
        self, address: Address | ServerAddress, reader: Reader, *, writer: Writer | None, version: int
    ) -> None:
        self._address = address
        self._place = address.shown
        self._reader = reader
        self._writer = writer
        self._version = version
        self._closed = False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Close; idempotent. Any later use raises StoreUnavailable."""
        self._closed = True
        self._reader.close()
        if self._writer is not None:
            self._writer.close()

    def require_room(self, wanted_bytes: int) -> None:
        """See, before the first reading, that all of them will find room; of a server nothing is known.

        Raises:
            StoreUnavailable: the disk has too little free.
        """
        if isinstance(self._address, Address):
            require_room(self._address, wanted_bytes)

    def free_mb(self) -> float | None:
        """Room on the store's disk, MB; None for a server's, of which nothing is known."""
        return room_bytes(self._address) / 1e6 if isinstance(self._address, Address) else None

    def begin(self, header: RunHeader, clock: Clock) -> RunRecorder:
        """Commit the header of a new run.

        Raises:
            RunExists: the id is taken.
            StoreUnavailable: full, locked, read-only or closed.
            StoreError: a file's hash is not the one of its text.
        """
        require_hashes(header)
        writer = self._writing(f"beginning run {header.run_id}")
        with writer.transaction(f"beginning run {header.run_id}") as connection:
            number = insert_run(connection, header)
        return RunRecorder(writer, run=number, run_id=header.run_id, clock=clock)

    def resume(self, run_id: str, clock: Clock, text: str = "") -> RunRecorder:
        """Go on recording a run that did not finish; its end is forgotten, its journal says so, with a text.

        Raises:
            RunNotFound: no run has that id.
            StoreUnavailable: full, locked, read-only or closed.
            StoreError: the run is finished.
        """
        writer = self._writing(f"resuming run {run_id}")
        if self.info(run_id).end == "finished":
            raise StoreError(f"store {self._place}: run {run_id} is finished: begin another run")
        with writer.transaction(f"resuming run {run_id}") as connection:
            number = connection.execute(select(RUNS.c.number).where(RUNS.c.run_id == run_id)).scalar_one()
            connection.execute(update(RUNS).where(RUNS.c.number == number), {"finished_utc": "", "end": ""})
            connection.execute(delete(SUMMARIES).where(SUMMARIES.c.run == number))
        recorder = RunRecorder(writer, run=number, run_id=run_id, clock=clock)
        recorder.note("resumed", text)
        return recorder

    def runs(self) -> tuple[RunInfo, ...]:
        """All runs, the one begun last first; books of stations are none."""
        with self._reading("listing runs") as connection:
            return read_infos(connection, self._version)

    def resolve(self, text: str) -> str:
        """The run id that an id, the beginning of exactly one id, or `last` stands for.

        Raises:
            RunNotFound: none or several begin so; names the nearest.
        """
        return find(text, self._run_ids(), self._place)

    def info(self, run_id: str) -> RunInfo:
        """How far a run has come, with its header.

        Raises:
            RunNotFound: no run has that id.
        """
        with self._reading(f"reading run {run_id}") as connection:
            infos = read_infos(connection, self._version, run_id)
        if not infos:
            raise not_found(run_id, self._run_ids(), self._place)
        return infos[0]

    def header(self, run_id: str) -> RunHeader:
        """What was written before the first reading.

        Raises:
            RunNotFound: no run has that id.
        """
        return self.info(run_id).header

    def mark(self, run_id: str) -> str:
        """A text that changes with what there is of a run's readings; empty in a store from before the chain.

        Where the chain has come to, and of how many readings only numbers are kept: a copy may still have their data.

        Raises:
            RunNotFound: no run has that id.
        """
        number = self._number(run_id)
        columns = [one for one in columns_at(RUNS, self._version) if one.name in ("chain_head", "chain_length")]
        with self._reading(f"reading run {run_id}") as connection:
            row = connection.execute(select(*columns).where(RUNS.c.number == number)).one()
            dropped = len(dropped_of(connection, self._version, number))
        return f"{row.chain_head} {row.chain_length} {dropped}" if row.chain_head else ""

    def readings(self, run_id: str, *, after: int = -1) -> Iterator[Reading]:
        """The readings behind an index, in order, a few in memory at a time; sees those that come while it reads.

        Raises:
            RunNotFound: no run has that id (at once).
            StoreError: a record is damaged; names the reading (while reading).
        """
        return self._readings(self._number(run_id), run_id, after)

    def settings(self, run_id: str) -> tuple[Setting, ...]:
        """The settings that a run went to, one for each attempt, in order; nothing else of its readings is read.

        Raises:
            RunNotFound: no run has that id.
        """
        number = self._number(run_id)
        table = READINGS.c
        query = select(table.channel, table.coarse, table.fine).where(table.run == number).order_by(table.reading)
        with self._reading(f"reading the settings of run {run_id}") as connection:
            return tuple(Setting(*row) for row in connection.execute(query).all())

    def events(self, run_id: str) -> tuple[Event, ...]:
        """The run's journal in order of writing.

        Raises:
            RunNotFound: no run has that id.
        """
        number = self._number(run_id)
        query = select(*columns_at(EVENTS, self._version)).where(EVENTS.c.run == number).order_by(EVENTS.c.number)
        with self._reading(f"reading the journal of run {run_id}") as connection:
            rows = connection.execute(query).all()
        return tuple(Event(at_utc=row.at_utc, at_s=row.at_s, kind=row.kind, text=row.text) for row in rows)

    def check(self) -> StoreCheck:
        """Look at all that is stored: the file's pages, each record, its place in the chain, the counts.

        Raises:
            StoreError: so damaged that the tables cannot be read.
        """
        with self._reading("checking the store") as connection:
            # On a server the pages are the server's own care.
            pages = page_faults(connection) if isinstance(self._address, Address) else ()
            return check_store(connection, self._version, pages)

    def backup(self, target: Path) -> None:
        """Copy the store to a file, at once and whole, also while a run is being recorded.

        Raises:
            UsageError: a target that would destroy something else.
            StoreUnavailable: no such folder, or no room.
        """
        self._require_open(f"backing up to {target}")
        if isinstance(self._address, ServerAddress):
            raise UsageError(f"store {self._place}: a server is backed up by its own tools; allowed here is a file")
        backup(self._address, target)

    def _readings(self, number: int, run_id: str, last: int) -> Iterator[Reading]:
        # Page by page, each in a short transaction: a reader that pauses holds up no checkpoint, leaves nothing open.
        while True:
            query = (
                select(*columns_at(READINGS, self._version))
                .where(READINGS.c.run == number, READINGS.c.reading > last)
                .order_by(READINGS.c.reading)
                .limit(_PAGE)
            )
            with self._reading(f"reading run {run_id}") as connection:
                rows = connection.execute(query).all()
                ends = {"after": last, "last": rows[-1].reading} if rows else {}
                dropped = dropped_of(connection, self._version, number, **ends) if rows else {}
            for row in rows:
                yield reading_of(row._asdict(), f"store {self._place}: run {run_id}", dropped.get(row.reading))
            if len(rows) < _PAGE:
                return
            last = rows[-1].reading

    def _number(self, run_id: str) -> int:
        with self._reading(f"reading run {run_id}") as connection:
            number = connection.execute(select(RUNS.c.number).where(RUNS.c.run_id == run_id)).scalar()
        if number is None:
            raise not_found(run_id, self._run_ids(), self._place)
        return int(number)

    def _run_ids(self) -> tuple[str, ...]:
        with self._reading("listing runs") as connection:
            query = select(RUNS.c.run_id).where(RUNS.c.mode != BOOK).order_by(RUNS.c.number.desc())
            return tuple(connection.execute(query).scalars())

    @property
    def place(self) -> str:
        """The store as the user named it, without a password."""
        return self._place

    @property
    def version(self) -> int:
        """The version of its schema when it was opened."""
        return self._version

    def viewing(self, doing: str) -> AbstractContextManager[Connection]:
        """One consistent view of the tables, for this room."""
        return self._reading(doing)

    def changing(self, doing: str) -> AbstractContextManager[Connection]:
        """A durable transaction, for this room."""
        return self._writing(doing).transaction(doing)

    @contextmanager
    def _reading(self, doing: str) -> Iterator[Connection]:
        self._require_open(doing)
        with self._reader.transaction(doing) as connection:
            yield connection

    def _writing(self, doing: str) -> Writer:
        self._require_open(doing)
        if self._writer is None:
            raise StoreUnavailable(f"store {self._place}: {doing}: the store was opened for reading only")
        return self._writer

    def _require_open(self, doing: str) -> None:
        if self._closed:
            raise StoreUnavailable(f"store {self._place}: {doing}: the store was closed: open it again")
