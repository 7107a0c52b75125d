"""Connections: one that writes, held as long as the store is open, and short read-only ones."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine

from harness.errors import StoreUnavailable
from harness.store.border import border
from harness.store.statement import Statement

Run = Callable[[Statement, Mapping[str, Any]], int]
"""Runs a statement with its values; the number of rows that it touched."""


class Reader:
    """Read-only transactions; none is held while nothing is being read, so a writer's log stays short."""

    def __init__(self, engine: Engine, place: str) -> None:
        self._engine = engine
        self._place = place

    @contextmanager
    def transaction(self, doing: str) -> Iterator[Connection]:
        """One consistent view; works while another process writes."""
        with border(self._place, doing), self._engine.connect() as connection, connection.begin():
            yield connection

    def close(self) -> None:
        """Let go of connections that are kept for the next transaction; idempotent."""
        self._engine.dispose()


class Writer:
    """Durable transactions: on return from `transaction` the data is on the disk."""

    def __init__(self, engine: Engine, place: str) -> None:
        self._engine = engine
        self._place = place
        with border(place, "opening"):
            self._connection = engine.connect()

    @contextmanager
    def transaction(self, doing: str) -> Iterator[Connection]:
        """All or nothing, and durable."""
        self._require_open(doing)
        with border(self._place, doing), self._connection.begin():
            yield self._connection

    @contextmanager
    def appending(self, doing: str) -> Iterator[Run]:
        """As `transaction`, for the few statements that run at each reading of a night."""
        with self.transaction(doing) as connection:
            yield lambda statement, values: statement.run(connection, values)

    def close(self) -> None:
        """Close; idempotent."""
        self._connection.close()
        self._engine.dispose()

    def _require_open(self, doing: str) -> None:
        if self._connection.closed:
            raise StoreUnavailable(f"store {self._place}: {doing}: the store was closed: open it again")
