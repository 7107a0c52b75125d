"""What the guards read: the files of the project, parsed once."""

from __future__ import annotations

import ast
import subprocess
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
TABLE = Path(__file__).parent / "import_table.toml"


@dataclass(frozen=True)
class Source:
    """A Python file of harness/ or fixtures/."""

    name: str
    """Path from the root of the project."""
    room: str
    """Room of harness/, `errors`, `fixtures`, or empty for harness/__init__.py."""
    text: str

    @property
    def tree(self) -> ast.Module:
        return _parsed(self.text)


@cache
def _parsed(text: str) -> ast.Module:
    return ast.parse(text)


@cache
def table() -> dict[str, dict]:
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))


@cache
def sources() -> tuple[Source, ...]:
    """Every Python file of harness/ and fixtures/."""
    found = []
    for top in ("harness", "fixtures"):
        for path in sorted((ROOT / top).rglob("*.py")):
            name = path.relative_to(ROOT).as_posix()
            found.append(Source(name=name, room=room_of(name), text=path.read_text(encoding="utf-8")))
    return tuple(found)


def room_of(name: str) -> str:
    """The room of a file, by its path."""
    parts = name.removesuffix(".py").split("/")
    if parts[0] == "fixtures":
        return "fixtures"
    return "" if parts[1] == "__init__" else parts[1]


def pure_sources() -> tuple[Source, ...]:
    return tuple(source for source in sources() if table().get(source.room, {}).get("pure"))


def tracked() -> tuple[str, ...] | None:
    """The files that git knows; None outside a checkout."""
    if not (ROOT / ".git").exists():
        return None
    done = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True)
    return tuple(name for name in done.stdout.decode().split("\0") if name and (ROOT / name).exists())


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """All functions, methods and nested functions too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node
