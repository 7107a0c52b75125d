"""`fixtures` is a common name; the package that is imported must be the one of this project."""

from __future__ import annotations

from pathlib import Path

import fixtures
from tests.guard.sources import ROOT


def test_the_fixtures_imported_are_ours():
    assert fixtures.__file__ is not None, "fixtures/__init__.py is missing"
    assert Path(fixtures.__file__).resolve().parent == (ROOT / "fixtures").resolve()
