"""DEVELOPERS.md tells the truth: its import table is the one that is enforced, and what it names exists."""

from __future__ import annotations

import re

import pytest

from tests.guard.sources import ROOT, table


def rows(text):
    """Room to (other rooms, libraries, pure), as written."""
    found = re.findall(r"^\| `(\w+)` \| ([^|]*) \| ([^|]*) \| ([^|]*)\|$", text, flags=re.MULTILINE)
    return {room: tuple(cell.strip() for cell in cells) for room, *cells in found}


def expected(row):
    lazy = set(row.get("lazy", []))
    rooms = "all" if row["inside"] == ["*"] else ", ".join(row["inside"]) or "none"
    libraries = ", ".join(f"{name} (inside functions)" if name in lazy else name for name in row["outside"]) or "none"
    return (
        rooms + (", by their public names" if row.get("public") else ""),
        libraries,
        "pure" if row.get("pure") else "",
    )


@pytest.fixture(scope="module")
def text():
    return (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_table_shown_is_the_table_enforced(text):
    assert rows(text) == {room: expected(row) for room, row in table().items()}


def test_the_files_named_exist(text):
    planned = {"harness/learn/", "harness/line/", "harness/lot/"}
    named = set(re.findall(r"`((?:harness|tests|fixtures|configs|\.ci)/[\w./-]*)`", text)) - planned
    assert len(named) > 20
    assert [name for name in sorted(named) if not (ROOT / name).exists()] == []


def test_the_names_of_code_exist(text):
    for name, path in re.findall(r"`(\w+)` of `(harness/[\w/]+\.py)`", text) + re.findall(
        r"`([A-Z]+)` in\s`(harness/[\w/]+\.py)`", text
    ):
        assert re.search(rf"^{name}\b", (ROOT / path).read_text(encoding="utf-8"), flags=re.MULTILINE), (name, path)
