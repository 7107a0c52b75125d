"""The catalogue against the list of faults: none is missing, none has another name, sizes can be injected."""

from __future__ import annotations

import csv
import dataclasses
import re
from pathlib import Path

import pytest

from harness.errors import UsageError
from harness.simulated import SIZES, catalogue
from harness.simulated.corrie_ur2 import CorrieTruth
from harness.simulated.faults import FAULTS
from harness.simulated.faults.reading import read_fault
from harness.simulated.skerry_hr4 import SkerryTruth
from harness.simulated.tarn_vg1 import TarnTruth

LISTED = list(
    csv.DictReader(
        line
        for line in (Path(__file__).parent / "fault_list.csv").read_text("utf-8").splitlines()
        if not line.startswith("#")
    )
)
ENTRIES = {entry.id: entry for entry in catalogue()}
UNITS = (SkerryTruth(), TarnTruth(), CorrieTruth())


def test_the_list_is_whole() -> None:
    """57 faults of the product, 12 of the station, 28 of instruments, links, host and data."""
    expected = [f"F{n:02}" for n in range(1, 58)] + [f"T{n}" for n in range(1, 13)] + [f"I{n:02}" for n in range(1, 29)]
    assert [row["id"] for row in LISTED] == expected


def test_every_listed_fault_is_in_the_catalogue_by_its_name() -> None:
    assert [(entry.id, entry.name) for entry in catalogue()] == [(row["id"], row["name"]) for row in LISTED]
    assert list(SIZES) == [row["id"] for row in LISTED]


def test_kinds_are_those_of_the_list() -> None:
    owner = {"F": "product", "T": "station", "I": "io"}
    for row in LISTED:
        assert SIZES[row["id"]].kind == row["kind"], row["id"]
        assert ENTRIES[row["id"]].kind == owner[row["id"][0]]


def numbers(text: str) -> set[float]:
    plain = text.replace("−", "-").replace("–", "-").replace("3 300", "3300").replace("3 600", "3600")
    return {abs(float(found)) for found in re.findall(r"\d+(?:\.\d+)?(?:e-?\d+)?", plain)}


OTHERWISE = ("F46", "T1", "T2", "I26", "I27")
"""Stated otherwise: two channels at rest for one, loads of a bench without terminator, seconds for hours."""


@pytest.mark.parametrize("row", [r for r in LISTED if r["kind"] != "S" and r["id"] not in OTHERWISE])
def test_sizes_are_those_of_the_list(row: dict[str, str]) -> None:
    """The first number to inject stands in the list's words for the same size, or twice or half of it for F31."""
    for column in ("below", "at", "above"):
        text = getattr(SIZES[row["id"]], column)
        if not text:
            continue
        first = abs(float(text[1:].split(",")[0]))
        wanted = numbers(row[column] if row["id"] != "F31" else row["at"])
        factor = {"below": 0.5, "at": 1.0, "above": 2.0}[column] if row["id"] == "F31" else 1.0
        special = {("F50", "above"), ("I15", "above")}  # open; for ever
        assert (row["id"], column) in special or first / factor in wanted, (row["id"], column, text, row[column])


@pytest.mark.parametrize("unit", UNITS, ids=[unit.model for unit in UNITS])
def test_every_size_can_be_injected_unless_the_unit_lacks_the_fault(unit: SkerryTruth) -> None:
    for identity, entry in ENTRIES.items():
        for text in (SIZES[identity].below, SIZES[identity].at, SIZES[identity].above):
            if text is None:
                continue
            if entry.name in unit.lacks:
                with pytest.raises(UsageError, match=f"fault {entry.name}: the {unit.model} cannot have it: "):
                    read_fault(entry.name + text, unit=unit)
            elif identity in ("F03", "F04") and text == "=6,7" and unit.code_bits < 8:
                with pytest.raises(UsageError, match="got size '7'; allowed is a whole number from 0 to 6"):
                    read_fault(entry.name + text, unit=unit)
            else:
                assert read_fault(entry.name + text, unit=unit).entry is entry


def test_nothing_waits_for_a_later_part_of_the_tool() -> None:
    assert {entry.name for entry in catalogue() if entry.needs} == set()
    assert [identity for identity, sizes in SIZES.items() if sizes.above is None] == []


def test_a_fault_that_needs_what_is_not_there_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    kind = next(fault for fault in FAULTS if fault.entry.name == "latch-missing")
    monkeypatch.setattr(kind, "entry", dataclasses.replace(kind.entry, needs="a bus"))
    with pytest.raises(UsageError, match="fault latch-missing: not yet injectable: needs a bus"):
        read_fault("latch-missing", unit=UNITS[0])


def test_what_a_unit_lacks_is_in_the_catalogue() -> None:
    names = {entry.name for entry in catalogue()}
    for unit in UNITS:
        assert set(unit.lacks) <= names
        assert all(unit.lacks.values())


def test_every_entry_tells_what_it_does_and_how_it_shows() -> None:
    for entry in catalogue():
        assert entry.does, entry.name
        assert entry.shows, entry.name
        assert entry.name == entry.name.lower()
        if entry.default_size is not None:
            assert entry.low <= entry.default_size <= entry.high, entry.name
        assert bool(entry.places) == bool(entry.default_place), entry.name
        assert not (entry.roles and entry.takes_channel is False), entry.name


def test_two_channels_at_rest_couple_together_what_the_list_has_for_one() -> None:
    row = next(r for r in LISTED if r["id"] == "F46")
    for column in ("below", "at", "above"):
        listed_db, injected_db = -max(numbers(row[column])), float(getattr(SIZES["F46"], column)[1:])
        assert 2.0 * 10.0 ** (injected_db / 20.0) == pytest.approx(10.0 ** (listed_db / 20.0), rel=0.01)
