"""Tables as TOML."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from typing import Any


def shown(value: Any) -> str:
    """A value as TOML.

    Args:
        value: text, number, truth value, date, list or table.
    Returns:
        one line.
    Source:
        TOML 1.0.
    """
    match value:
        case bool():
            return "true" if value else "false"
        case str():
            escaped = value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ")
            return f'"{escaped}"'
        case datetime.date():
            return value.isoformat()
        case Mapping():
            return "{ " + ", ".join(f"{_key(key)} = {shown(entry)}" for key, entry in value.items()) + " }"
        case list() | tuple():
            return "[" + ", ".join(shown(entry) for entry in value) + "]"
        case _:
            return repr(value)


def _key(key: str) -> str:
    plain = key and all(character.isascii() and (character.isalnum() or character in "-_") for character in key)
    return key if plain else shown(key)


def section(name: str, table: Mapping[str, Any]) -> Iterator[str]:
    """One table with its lists of tables behind it.

    Args:
        name: of the table; empty for the top of a file.
        table: keys and values; None is left out.
    Returns:
        lines.
    Source:
        TOML 1.0.
    """
    if name:
        yield f"[{name}]"
    lists = {key: value for key, value in table.items() if is_tables(value)}
    yield from (f"{key} = {shown(value)}" for key, value in table.items() if key not in lists and value is not None)
    for key, entries in lists.items():
        for entry in entries:
            heading = f"{name}.{key}" if name else key
            yield from ("", f"[[{heading}]]", *(f"{k} = {shown(v)}" for k, v in entry.items() if v is not None))


def is_tables(value: Any) -> bool:
    """Whether a value is a list of tables.

    Args:
        value: any.
    Returns:
        true for a list that begins with a table.
    Source:
        none.
    """
    return isinstance(value, list | tuple) and bool(value) and isinstance(value[0], Mapping)


def whole(tables: Mapping[str, Any], *, heading: str) -> str:
    """A whole file.

    Args:
        tables: values, tables and lists of tables, by key.
        heading: comment for the first line.
    Returns:
        TOML.
    Source:
        TOML 1.0.
    """
    plain = {key: value for key, value in tables.items() if not isinstance(value, Mapping)}
    lines = [f"# {heading}", *section("", plain)]
    for key, value in tables.items():
        if isinstance(value, Mapping):
            lines += ["", *section(key, value)]
    return "\n".join(lines) + "\n"
