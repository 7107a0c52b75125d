"""Every `raise` of ours is met by a test: the failing path that no test runs is the one that fails when it is needed.

`python -m tests.guard.raises COVERAGE_FILE` reads what pytest-cov wrote and lists each raise that no test reached.
A raise that cannot be reached says so: `# pragma: no cover - reason`, on its line or on the line of a block around it.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Callable, Collection, Iterator, Sequence
from pathlib import Path

from tests.guard.sources import ROOT, Source, sources

PRAGMA = re.compile(r"#\s*pragma:\s*no cover")
WITH_REASON = re.compile(r"#\s*pragma:\s*no cover\s*-\s*\S+")


def unmet(source: Source, executed: Collection[int]) -> Iterator[str]:
    """The raises of a file that are not among the executed lines."""
    lines = source.text.splitlines()
    for number, line in enumerate(lines, 1):
        if PRAGMA.search(line) and not WITH_REASON.search(line):
            yield f"{source.name}:{number}: pragma without a reason; allowed: `# pragma: no cover - reason`"
    for node, excused in _raises(source.tree, lines, excused=False):
        span = range(node.lineno, (node.end_lineno or node.lineno) + 1)
        if not excused and not any(number in executed for number in span):
            yield f"{source.name}:{node.lineno}: no test reaches `{lines[node.lineno - 1].strip()}`"


def _raises(node: ast.AST, lines: Sequence[str], *, excused: bool) -> Iterator[tuple[ast.Raise, bool]]:
    for child in ast.iter_child_nodes(node):
        here = excused or (isinstance(child, ast.stmt | ast.ExceptHandler) and _excuses(child, lines))
        # A bare `raise` passes on what another place has raised.
        if isinstance(child, ast.Raise) and child.exc is not None:
            yield child, here
        yield from _raises(child, lines, excused=here)


def _excuses(node: ast.stmt | ast.ExceptHandler, lines: Sequence[str]) -> bool:
    body = getattr(node, "body", None)
    last = body[0].lineno - 1 if body else (node.end_lineno or node.lineno)
    return any(WITH_REASON.search(line) for line in lines[node.lineno - 1 : max(last, node.lineno)])


def check(executed_of: Callable[[str], Collection[int]]) -> list[str]:
    """All raises that no test reaches, by the executed lines of each file."""
    return [fault for source in sources() for fault in unmet(source, executed_of(source.name))]


def main(arguments: Sequence[str]) -> int:
    if len(arguments) != 1 or not Path(arguments[0]).is_file():
        print("usage: python -m tests.guard.raises COVERAGE_FILE (run pytest with --cov before)", file=sys.stderr)
        return 2
    from coverage import CoverageData

    data = CoverageData(basename=str(Path(arguments[0]).resolve()))
    data.read()
    if not data.measured_files():
        print(f"{arguments[0]}: no file was measured; run pytest with --cov before", file=sys.stderr)
        return 2
    faults = check(lambda name: data.lines(str(ROOT / name)) or ())
    print("\n".join(faults) or "every raise is met by a test", file=sys.stderr if faults else sys.stdout)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
