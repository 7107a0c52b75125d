"""Connections: one that writes, held as long as the store is open, and short read-only ones."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import NullPool

from harness.errors import StoreUnavailable
from harness.store.address import Address
from harness.store.border import border

BUSY_S = 5.0
"""How long a lock of another process is waited for."""


class Reader:
    """Read-only transactions; none is held while nothing is being read, so a writer's log stays short."""

    def __init__(self, address: Address) -> None:
        self._place = address.shown
        self._engine = _engine(address, "ro", begin="BEGIN")

    @contextmanager
    def transaction(self, doing: str) -> Iterator[Connection]:
        """One consistent view; works while another process writes."""
        with border(self._place, doing), self._engine.connect() as connection, connection.begin():
            yield connection


class Writer:
    """Durable transactions: on return from `transaction` the data is on the disk."""

    def __init__(self, address: Address, *, may_create: bool = False) -> None:
        self._place = address.shown
        self._engine = _engine(address, "rwc" if may_create else "rw", begin="BEGIN IMMEDIATE")
        with border(self._place, "opening"):
            self._connection = self._engine.connect()
        try:
            with border(self._place, "opening"):
                require_log(self._pragma("journal_mode = WAL"), self._place)
        except BaseException:
            self.close()
            raise

    @contextmanager
    def transaction(self, doing: str) -> Iterator[Connection]:
        """All or nothing, and durable; the lock is taken at once, so that no later statement can find it gone."""
        if self._connection.closed:
            raise StoreUnavailable(f"store {self._place}: {doing}: the store was closed: open it again")
        with border(self._place, doing), self._connection.begin():
            yield self._connection

    def _pragma(self, text: str) -> str:
        # Outside a transaction, where alone SQLite changes these; the raw connection begins none.
        raw = self._connection.connection.driver_connection
        row = raw.execute(f"PRAGMA {text}").fetchone() if raw is not None else None
        return str(row[0]) if row else ""

    def close(self) -> None:
        """Close; idempotent."""
        self._connection.close()
        self._engine.dispose()


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
