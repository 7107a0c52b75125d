"""Whether the docstrings of a pure room say what they must."""

from __future__ import annotations

import ast
import builtins
import re
from collections.abc import Iterator

from harness import errors
from tests.guard.sources import Source

WITH_SOURCE = frozenset({"law", "amplitude", "bus", "judge", "diagnosis"})
"""Rooms that compute something which somebody published, or which is derived in a test."""

_SECTION = re.compile(r"^(\w+):$")
_ORDER = ("Args", "Returns", "Raises", "Source")


def docstring_faults(source: Source) -> Iterator[str]:
    """Public functions of a module whose docstring lacks a section, has one too many, or names an unknown error."""
    for node in source.tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            place = f"{source.name}:{node.lineno}: {node.name}"
            text = ast.get_docstring(node)
            if text is None:
                yield f"{place} has no docstring"
            else:
                yield from (f"{place}: {fault}" for fault in _faults(node, text, source.room))


def _faults(node: ast.FunctionDef, text: str, room: str) -> Iterator[str]:
    sections = _sections(text)
    wanted = _wanted(node, room)
    if not text.splitlines()[0].strip().endswith((".", "?")):
        yield "the first line is not a sentence: say what the function answers"
    for name in wanted - set(sections):
        yield f"section `{name}:` is missing"
    for name in set(sections) - wanted - {"Raises", "Source"}:
        yield f"section `{name}:` is out of place; allowed: {', '.join(n for n in _ORDER if n in wanted)}"
    known = [name for name in sections if name in _ORDER]
    if known != sorted(known, key=_ORDER.index):
        yield f"the sections stand in the order {', '.join(known)}; allowed: {', '.join(_ORDER)}"
    if "Args" in sections:
        named = _heads(sections["Args"])
        yield from (f"argument {name} is not under `Args:`" for name in _arguments(node) if name not in named)
    yield from _raise_faults(node, sections.get("Raises", ""))


def _raise_faults(node: ast.FunctionDef, text: str) -> Iterator[str]:
    named = _heads(text)
    for name in named:
        if not (hasattr(errors, name) or hasattr(builtins, name)):
            yield f"{name} under `Raises:` is no error; allowed: those of harness/errors.py"
    for name in _raised(node) - named:
        kind = getattr(errors, name, None)
        parents = {parent.__name__ for parent in kind.__mro__} if isinstance(kind, type) else set()
        if not parents & named:
            yield f"{name} is raised but not under `Raises:`"


def _wanted(node: ast.FunctionDef, room: str) -> set[str]:
    wanted = set()
    if _arguments(node):
        wanted.add("Args")
    if not (isinstance(node.returns, ast.Constant) and node.returns.value is None):
        wanted.add("Returns")
    if _raised(node):
        wanted.add("Raises")
    if room in WITH_SOURCE:
        wanted.add("Source")
    return wanted


def _arguments(node: ast.FunctionDef) -> tuple[str, ...]:
    every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    every += [extra for extra in (node.args.vararg, node.args.kwarg) if extra]
    return tuple(argument.arg for argument in every)


def _raised(node: ast.FunctionDef) -> set[str]:
    """Classes raised by name in the function itself."""
    names = set()
    for inner in ast.walk(node):
        if isinstance(inner, ast.Raise) and inner.exc is not None:
            kind = inner.exc.func if isinstance(inner.exc, ast.Call) else inner.exc
            if isinstance(kind, ast.Name) and kind.id[:1].isupper():
                names.add(kind.id)
    return names


def _sections(text: str) -> dict[str, str]:
    found: dict[str, list[str]] = {}
    current = ""
    for line in text.splitlines():
        head = _SECTION.match(line)
        if head:
            current = head[1]
            found[current] = []
        elif current:
            found[current].append(line)
    return {name: "\n".join(lines) for name, lines in found.items()}


def _heads(text: str) -> set[str]:
    """The names before a colon on the least indented lines: `a, b: words` names both."""
    lines = [line for line in text.splitlines() if line.strip()]
    margin = min((len(line) - len(line.lstrip()) for line in lines), default=0)
    names: set[str] = set()
    for line in lines:
        head = re.match(r"((?:[*`\w.]+(?:, | and | or |/)?)+):", line[margin:])
        if head and len(line) - len(line.lstrip()) == margin:
            names.update(re.findall(r"\w+", re.sub(r" (and|or) ", ", ", head[1])))
    return names
