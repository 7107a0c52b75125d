"""Small files, small functions: nobody keeps them so without a test that counts."""

from __future__ import annotations

from tests.guard.sources import functions, sources

FILE_LINES = 350
FUNCTION_LINES = 60


def test_files_are_small():
    lengths = {source.name: source.text.count("\n") for source in sources()}
    assert {name: lines for name, lines in lengths.items() if lines > FILE_LINES} == {}


def test_functions_are_small():
    long = [
        f"{source.name}:{function.lineno}: {function.name} has {lines} lines; allowed: {FUNCTION_LINES}"
        for source in sources()
        for function in functions(source.tree)
        if (lines := (function.end_lineno or 0) - function.lineno + 1) > FUNCTION_LINES
    ]
    assert long == []
