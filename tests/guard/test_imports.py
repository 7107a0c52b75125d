"""The import table is law."""

from __future__ import annotations

import pytest

from tests.guard.imports import cycles, impure_faults, inside_faults, outside_faults, rooms_imported
from tests.guard.sources import Source, pure_sources, sources, table


def everywhere(faults):
    return [fault for source in sources() for fault in faults(source, table())]


def test_rooms_import_what_the_table_allows():
    assert everywhere(inside_faults) == []


def test_libraries_are_imported_where_the_table_allows():
    assert everywhere(outside_faults) == []


def test_pure_rooms_touch_nothing():
    assert [fault for source in pure_sources() for fault in impure_faults(source)] == []


def test_rooms_form_no_ring():
    edges: dict[str, set[str]] = {}
    for source in sources():
        edges.setdefault(source.room, set()).update(room for _, room in rooms_imported(source))
    assert cycles(edges) == []


def test_the_table_allows_no_ring():
    assert cycles({room: set(row["inside"]) - {"*"} for room, row in table().items()}) == []


def test_the_table_keeps_its_promises():
    rows = table()
    assert [room for room, row in rows.items() if {"pyvisa", "serial"} & set(row["outside"])] == ["drivers"]
    assert [room for room, row in rows.items() if "sqlalchemy" in row["outside"]] == ["store", "lot"]
    assert not {"law", "drivers", "amplitude"} & set(rows["simulated"]["inside"])
    assert {room for room, row in rows.items() if row.get("pure")} == {
        "values", "config", "law", "diagnosis", "ladder", "amplitude", "bus", "judge", "report",
    }  # fmt: skip


# The guard itself: each rule must be able to fail.


def faults_of(text, room="law", name=""):
    source = Source(name=name or f"harness/{room}/made.py", room=room, text=text)
    return [*inside_faults(source, table()), *outside_faults(source, table()), *impure_faults(source)]


@pytest.mark.parametrize(
    ("text", "room", "words"),
    [
        ("from harness.drivers import x", "law", "law imports harness.drivers; allowed: errors, values, config"),
        ("from harness import sweep", "law", "law imports harness.sweep; allowed"),
        ("import harness.sweep.walk", "law", "law imports harness.sweep.walk; allowed"),
        ("from ..sweep import walk", "law", "law imports harness.sweep; allowed"),
        ("def f():\n    from harness.law import x", "simulated", "2: simulated imports harness.law"),
        ("import pyvisa", "simulated", "simulated imports pyvisa; allowed: the standard library, numpy"),
        ("from scipy import optimize", "law", "law imports scipy at the top; allowed: inside a function"),
        ("import x", "new", "room 'new' is not in the import table"),
        (
            "from harness.law.words import x",
            "fixtures",
            "allowed: only the public names, `from harness.law",
        ),
        ("import os.path", "law", "imports os.path in the pure room law"),
        ("from io import open_code", "law", "imports io in the pure room law"),
        ("import io\nio.open(x)", "law", "imports io in the pure room law"),
        ("from numpy import random", "law", "imports numpy in the pure room law"),
        ("open('x')", "law", "calls open() in the pure room law"),
        ("np.random.default_rng(1)", "law", "uses .random in the pure room law"),
        ("datetime.datetime.now()", "law", "uses .now in the pure room law"),
    ],
)
def test_a_breach_is_seen(text, room, words):
    assert any(words in fault for fault in faults_of(text, room, "fixtures/x.py" if room == "fixtures" else ""))


@pytest.mark.parametrize(
    ("text", "room"),
    [
        ("from __future__ import annotations\nimport math\nimport numpy as np\nfrom harness.errors import X", "law"),
        ("from io import StringIO", "report"),
        ("import io\nio.BytesIO()", "report"),
        ("def f():\n    from scipy import optimize", "law"),
        ("from .words import x\nfrom harness.law.stages import y", "law"),
        ("from harness.law import x\nfrom harness.app.setup import y", "fixtures"),
    ],
)
def test_what_is_allowed_passes(text, room):
    source = Source(name=f"harness/{room}/made.py", room=room, text=text)
    assert [*inside_faults(source, table()), *outside_faults(source, table())] == []
    assert not table()[room].get("pure") or list(impure_faults(source)) == []


def test_a_ring_is_found():
    assert cycles({"a": {"b"}, "b": {"c"}, "c": {"b"}}) == ["b -> c -> b"]
