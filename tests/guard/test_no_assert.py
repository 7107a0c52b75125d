"""No check by `assert`: with -O it would be gone, and a source driven past its limit."""

from __future__ import annotations

import ast

from tests.guard.sources import sources


def test_no_assert_outside_tests():
    found = [
        f"{source.name}:{node.lineno}: raise one of our errors instead"
        for source in sources()
        for node in ast.walk(source.tree)
        if isinstance(node, ast.Assert)
    ]
    assert found == []
