"""Writes one run: each call is one durable commit."""

from __future__ import annotations

from typing import Protocol

from sqlalchemy import bindparam, insert, literal_column, select, update

from harness.errors import StoreError
from harness.store.chain import append_event, row_hash
from harness.store.connect import Writer
from harness.store.numbers import finite
from harness.store.reading_row import Row, row_of
from harness.store.schema import READINGS, RUNS
from harness.store.statement import Statement
from harness.values import Reading

ENDS = ("finished", "interrupted", "stopped")

_INSERT = Statement(insert(READINGS), READINGS.columns.keys())
_MOVE_HEAD = Statement(
    update(RUNS)
    .where(RUNS.c.number == bindparam("its_run"), RUNS.c.chain_head == bindparam("previous"))
    .values(chain_head=bindparam("own"), chain_length=RUNS.c.chain_length + literal_column("1")),
    (),
)


class Clock(Protocol):
    """Time for the run's journal; the bench's clock fits."""

    def now_s(self) -> float:
        """Monotonic time, s."""
        ...

    def utc(self) -> str:
        """Wall-clock time, ISO 8601, UTC."""
        ...


class RunRecorder:
    """The bench's `Recorder`: on return a reading or note is durable; any StoreError means that it is not."""

    def __init__(self, writer: Writer, *, run: int, run_id: str, clock: Clock) -> None:
        self._writer = writer
        self._run = run
        self._clock = clock
        self._end = ""
        self._head = ""
        self.run_id = run_id

    def record(self, reading: Reading) -> None:
        """Commit one reading.

        Raises:
            NotFinite: a float is NaN, infinite, 9.9E37 or 9.91E37; nothing was written.
            StoreUnavailable: the disk is full, the store is locked, read-only or closed.
            StoreError: the index is recorded already, the run has ended, an array is of a wrong type.
        """
        place = f"run {self.run_id}, reading {reading.index}"
        self._require_open(place)
        row = {"run": self._run, **row_of(reading, place)}
        doing = f"recording reading {reading.index} of run {self.run_id}"
        if not self._append(row, doing):
            # The chain has grown meanwhile: by us, before an interrupt hid it, or by another recorder of the run.
            self._head = ""
            if not self._append(row, doing):
                raise StoreError(
                    f"{place}: another process records this run at the same moment: stop one of them; "
                    "nothing was recorded"
                )

    def _append(self, row: Row, doing: str) -> bool:
        """Commit a row as the next one of the chain; False when it was not the next one."""
        if not self._head:
            with self._writer.transaction(doing) as connection:
                query = select(RUNS.c.chain_head).where(RUNS.c.number == self._run)
                self._head = connection.execute(query).scalar_one()
        own = row_hash(row, self._head)
        with self._writer.appending(doing) as run:
            moved = run(_MOVE_HEAD, {"its_run": self._run, "previous": self._head, "own": own})
            if moved:
                run(_INSERT, {**row, "previous_hash": self._head, "own_hash": own})
        if moved:
            self._head = own
        return bool(moved)

    def note(self, kind: str, text: str) -> None:
        """Commit one line of the run's journal.

        Raises:
            StoreUnavailable: the disk is full, the store is locked, read-only or closed.
            StoreError: the run has ended.
        """
        self._require_open(f"run {self.run_id}, note {kind}")
        row = self._event_row(kind, text)
        with self._writer.transaction(f"noting {kind} in run {self.run_id}") as connection:
            append_event(connection, self._run, row)

    def finish(self, end: str, text: str = "") -> None:
        """Commit how the run ended, with a line in its journal; the first end stays, a later call changes nothing.

        Args:
            end: finished, interrupted or stopped.
            text: why, for the journal.
        Raises:
            StoreUnavailable: the disk is full, the store is locked, read-only or closed.
            StoreError: another word than these.
        """
        if end not in ENDS:
            raise StoreError(f"run {self.run_id}: end {end!r}; allowed: {', '.join(ENDS)}")
        if self._end:
            return
        row = self._event_row(end, text)
        ending = update(RUNS).where(RUNS.c.number == self._run)
        with self._writer.transaction(f"ending run {self.run_id}") as connection:
            connection.execute(ending, {"finished_utc": row["at_utc"], "end": end})
            append_event(connection, self._run, row)
        self._end = end

    def _event_row(self, kind: str, text: str) -> dict[str, object]:
        at_s = finite(self._clock.now_s(), "at_s", f"run {self.run_id}, note {kind}")
        return {"at_utc": self._clock.utc(), "at_s": at_s, "kind": kind, "text": text}

    def _require_open(self, place: str) -> None:
        if self._end:
            raise StoreError(f"{place}: the run has ended ({self._end}): begin another run; nothing was recorded")
