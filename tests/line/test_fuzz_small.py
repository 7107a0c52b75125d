"""A small one of `python -m tests.line.fuzz`: nothing that comes in breaks the page or the record."""

from __future__ import annotations

from harness.line.state import Screen
from tests.line.fuzz import fuzz


def test_scans_and_requests(bench):
    one = fuzz(bench, seed=2, count=250, runs=0)
    assert set(one.seen) == {str(screen) for screen in Screen}
