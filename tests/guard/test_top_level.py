"""The top level is fixed, so that a stranger finds everything where the map says."""

from __future__ import annotations

import pytest

from tests.guard.sources import tracked

ALLOWED = {"README.md", "DEVELOPERS.md", "pyproject.toml", "harness", "fixtures", "tests", "configs", "reports"}


def test_the_top_level_holds_what_the_map_says():
    names = tracked()
    if names is None:
        pytest.skip("not a git checkout: which files belong to the project is not known")
    top = {name.split("/")[0] for name in names}
    assert {name for name in top if not name.startswith(".")} == ALLOWED
