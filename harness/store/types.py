"""Column types that hold the same on every kind of database."""

from __future__ import annotations

from typing import Any

from sqlalchemy import BigInteger, Dialect, Integer, Text
from sqlalchemy.types import TypeDecorator

WHOLE = BigInteger().with_variant(Integer(), "sqlite")
"""Whole numbers of 64 bits; what SQLite calls INTEGER has as many, and numbers rows by itself under no other name."""

_MARK, _MARK_ITSELF, _ZERO = "\uf8ff", "\uf8ff1", "\uf8ff0"


class AnyText(TypeDecorator[str]):
    """Text with any character: a damaged answer of an instrument may hold a zero, which PostgreSQL takes in no text."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """As it is stored."""
        if value is None or dialect.name != "postgresql":
            return value
        return value.replace(_MARK, _MARK_ITSELF).replace("\0", _ZERO)

    def process_result_value(self, value: Any, dialect: Dialect) -> Any:
        """As it was given."""
        if not isinstance(value, str) or dialect.name != "postgresql":
            return value
        return value.replace(_ZERO, "\0").replace(_MARK_ITSELF, _MARK)

    @property
    def python_type(self) -> type[str]:
        """Text."""
        return str
