"""Reads imports from source and holds them against the table."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass

from tests.guard.sources import Source, room_of

IMPURE_MODULES = frozenset(
    {
        *("asyncio", "fcntl", "ftplib", "getpass", "glob", "http", "importlib", "io", "logging", "mmap"),
        *("multiprocessing", "os", "pathlib", "pickle", "random", "secrets", "select", "selectors", "shutil", "signal"),
        *("socket", "socketserver", "sqlite3", "ssl", "subprocess", "sys", "tempfile", "termios", "threading", "time"),
        *("urllib", "uuid"),
    }
)
IMPURE_CALLS = frozenset({"open", "input", "print", "__import__", "exec", "eval"})
IMPURE_ATTRIBUTES = frozenset({"now", "utcnow", "today"})
"""The wall clock of datetime and date."""
IMPURE_NUMPY = frozenset({"random", "load", "loadtxt", "genfromtxt", "fromfile", "save", "savez", "savetxt", "memmap"})
MEMORY_ONLY = frozenset({"StringIO", "BytesIO", "TextIO", "BinaryIO", "IO"})
"""What of `io` holds no file."""


@dataclass(frozen=True)
class Import:
    """One imported module."""

    line: int
    module: str
    names: tuple[str, ...]
    lazy: bool
    """Inside a function."""


def imports_of(source: Source) -> Iterator[Import]:
    """All imports of a file; relative ones as absolute."""
    inside: set[ast.AST] = set()
    for node in ast.walk(source.tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            inside.update(ast.walk(node))
    package = source.name.removesuffix(".py").removesuffix("/__init__").split("/")
    base = package if source.name.endswith("__init__.py") else package[:-1]
    for node in ast.walk(source.tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Import(node.lineno, alias.name, (), node in inside)
        elif isinstance(node, ast.ImportFrom):
            start = ".".join(base[: len(base) - node.level + 1]) if node.level else ""
            module = ".".join(part for part in (start, node.module or "") if part)
            names = tuple(alias.name for alias in node.names)
            if module == "harness":
                yield from (Import(node.lineno, f"harness.{name}", (), node in inside) for name in names)
            else:
                yield Import(node.lineno, module, names, node in inside)


def rooms_imported(source: Source) -> Iterator[tuple[Import, str]]:
    """The other rooms that a file imports."""
    for one in imports_of(source):
        top = one.module.split(".")[0]
        if top in ("harness", "fixtures"):
            room = "fixtures" if top == "fixtures" else room_of(one.module.replace(".", "/") + "/__init__.py")
            if room and room != source.room:
                yield one, room


def inside_faults(source: Source, table: dict[str, dict]) -> Iterator[str]:
    """Imports of rooms that the table does not allow."""
    if not source.room:
        return
    row = table.get(source.room)
    if row is None:
        yield f"{source.name}: room {source.room!r} is not in the import table: add it with what it may import"
        return
    for one, room in rooms_imported(source):
        place = f"{source.name}:{one.line}: {source.room} imports {one.module}"
        if room not in row["inside"] and row["inside"] != ["*"]:
            yield f"{place}; allowed: {', '.join(row['inside']) or 'no other room'}"
        elif row.get("public") and one.module.count(".") > 1 and room != "app":
            yield f"{place}; allowed: only the public names, `from harness.{room} import ...`"


def outside_faults(source: Source, table: dict[str, dict]) -> Iterator[str]:
    """Imports of libraries that the table does not allow, or not at the top of a module."""
    row = table.get(source.room, {})
    allowed, lazy = row.get("outside", []), row.get("lazy", [])
    for one in imports_of(source):
        top = one.module.split(".")[0]
        if top in ("harness", "fixtures", "__future__") or top in sys.stdlib_module_names:
            continue
        place = f"{source.name}:{one.line}: {source.room} imports {one.module}"
        if top not in allowed:
            yield f"{place}; allowed: the standard library{''.join(f', {name}' for name in allowed)}"
        elif top in lazy and not one.lazy:
            yield f"{place} at the top; allowed: inside a function, for it is slow to import"


def impure_faults(source: Source) -> Iterator[str]:
    """What a pure room may not touch: files, sockets, clocks, chance, logging."""
    for one in imports_of(source):
        top = one.module.split(".")[0]
        if top == "io" and set(one.names or _attributes(source, "io")) <= MEMORY_ONLY:
            continue
        if top in IMPURE_MODULES or one.module == "numpy.random" or (top == "numpy" and "random" in one.names):
            yield f"{source.name}:{one.line}: imports {one.module} in the pure room {source.room}"
    for node in ast.walk(source.tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in IMPURE_CALLS:
            yield f"{source.name}:{node.lineno}: calls {node.func.id}() in the pure room {source.room}"
        if isinstance(node, ast.Attribute):
            numpy = isinstance(node.value, ast.Name) and node.value.id in ("np", "numpy")
            if node.attr in IMPURE_ATTRIBUTES or (numpy and node.attr in IMPURE_NUMPY):
                yield f"{source.name}:{node.lineno}: uses .{node.attr} in the pure room {source.room}"


def _attributes(source: Source, module: str) -> set[str]:
    """What a file uses of a module imported whole."""
    return {
        node.attr
        for node in ast.walk(source.tree)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == module
    }


def cycles(edges: dict[str, set[str]]) -> list[str]:
    """Rooms that import each other in a ring, one ring each as `a -> b -> a`."""
    found: list[str] = []
    done: set[str] = set()

    def walk(room: str, path: list[str]) -> None:
        if room in path:
            found.append(" -> ".join([*path[path.index(room) :], room]))
            return
        if room in done:
            return
        for other in sorted(edges.get(room, ())):
            walk(other, [*path, room])
        done.add(room)

    for room in sorted(edges):
        walk(room, [])
    return found
