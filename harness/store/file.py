"""A store in one SQLite file."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import NullPool

from harness.errors import StoreUnavailable
from harness.store.address import Address
from harness.store.border import border
from harness.store.connect import Reader, Run, Writer
from harness.store.statement import Statement

BUSY_S = 5.0
"""How long a lock of another process is waited for."""
_SHOWN = 3


def file_reader(address: Address) -> Reader:
    """Reads a file; takes no lock."""
    return Reader(_engine(address, "ro", begin="BEGIN"), address.shown)


class FileWriter(Writer):
    """Takes the file's lock at once in each transaction, so that no later statement can find it gone."""

    def __init__(self, address: Address, *, may_create: bool = False) -> None:
        super().__init__(_engine(address, "rwc" if may_create else "rw", begin="BEGIN IMMEDIATE"), address.shown)
        driver = self._connection.connection.driver_connection
        if not isinstance(driver, sqlite3.Connection):  # pragma: no cover - the engine below makes no other
            raise TypeError(driver)
        self._driver = driver
        try:
            with border(self._place, "opening"):
                # Outside a transaction, where alone SQLite changes it; the bare connection begins none.
                require_log(str(driver.execute("PRAGMA journal_mode = WAL").fetchone()[0]), self._place)
        except BaseException:
            self.close()
            raise

    @contextmanager
    def appending(self, doing: str) -> Iterator[Run]:
        """As the general one, past the library to the driver: half of the time of a commit was spent in between."""
        self._require_open(doing)
        with border(self._place, doing):
            try:
                self._driver.execute("BEGIN IMMEDIATE")
                yield self._run
                self._driver.execute("COMMIT")
            finally:
                if self._driver.in_transaction:
                    self._driver.execute("ROLLBACK")

    def _run(self, statement: Statement, values: Mapping[str, Any]) -> int:
        text, places = statement.words(self._engine.dialect)
        return self._driver.execute(text, [values[place] for place in places]).rowcount


def require_log(mode: str, place: str) -> None:
    """Refuse a file system on which SQLite cannot keep a write-ahead log.

    Raises:
        StoreUnavailable: the journal mode is another one.
    """
    if mode != "wal":
        raise StoreUnavailable(
            f"store {place}: no write-ahead log can be kept there (journal mode {mode!r}, allowed is 'wal'): "
            "a network drive perhaps; name a store on a local disk with --store"
        )


def page_faults(connection: Connection) -> tuple[str, ...]:
    """What is wrong with the pages of the file, its indices and its references from table to table."""
    found = [" ".join(str(row[0]).split()) for row in connection.exec_driver_sql("PRAGMA integrity_check")]
    return () if found == ["ok"] else tuple(f"the file is damaged ({text})" for text in found[:_SHOWN])


def _engine(address: Address, mode: str, *, begin: str) -> Engine:
    def connect() -> sqlite3.Connection:
        # isolation_level None: the driver begins nothing by itself, the listener below does.
        connection = sqlite3.connect(
            address.uri(mode), uri=True, timeout=BUSY_S, isolation_level=None, check_same_thread=False
        )
        try:
            # Full: in write-ahead mode anything less may lose the last commits with the power.
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
        except BaseException:
            connection.close()
            raise
        return connection

    engine = create_engine("sqlite+pysqlite://", creator=connect, poolclass=NullPool)

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql(begin)

    return engine
