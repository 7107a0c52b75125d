"""A statement that is run again and again: its words are worked out once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Dialect, Executable
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.dml import UpdateBase


class Statement:
    """An INSERT or UPDATE with named values; compiled when first needed."""

    def __init__(self, statement: UpdateBase, names: Sequence[str]) -> None:
        self._statement: Executable = statement
        self._compilable = statement
        self._names = list(names)
        self._words: tuple[str, tuple[str, ...]] | None = None

    def run(self, connection: Connection, values: Mapping[str, Any]) -> int:
        """By way of the library; the number of rows touched."""
        return int(connection.execute(self._statement, values).rowcount)

    def words(self, dialect: Dialect) -> tuple[str, tuple[str, ...]]:
        """For a driver that takes values by position: the text, and the name of each place."""
        if self._words is None:
            compiled = self._compilable.compile(dialect=dialect, column_keys=self._names)
            places = compiled.positiontup if isinstance(compiled, SQLCompiler) else None
            self._words = str(compiled), tuple(places or ())
        return self._words
