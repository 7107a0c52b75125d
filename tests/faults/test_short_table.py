"""The kept table: a short ladder beside the whole one. Written by `python -m tests.faults.short --device X --keep`."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from harness.simulated import catalogue
from tests.faults import short
from tests.faults.detection import DEVICES
from tests.faults.trial import Trial, setup_of

BY_ID = {entry.id: entry for entry in catalogue()}
LEAST = {"skerry-hr-4": 60, "tarn-vg-1": 60, "corrie-ur-2": 60}
"""Rows without which the table would say little."""


def rows(device: str, path: Path = short.TABLE) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return [row for row in csv.DictReader(file) if row["device"] == device]


def shown(row: dict[str, str], outcome: str) -> bool:
    trial = Trial(outcome=outcome, named=(), together=(), none_of_these=False)
    return any(short.seen(BY_ID[one], trial) for one in row["ids"].split())


@pytest.mark.parametrize("device", DEVICES)
def test_nothing_is_lost_and_no_good_unit_fails(device: str) -> None:
    cases = [row for row in rows(device) if row["size"] != "good"]
    good = [row["short"] for row in rows(device) if row["size"] == "good"]
    assert len(cases) >= LEAST[device]
    unseen = [row for row in cases if not shown(row, row["short"])]
    assert [row["injected"] for row in unseen if not set(row["ids"].split()) <= set(short.POOLED)] == []
    assert good == ["0 of 100 FAIL"]


@pytest.mark.parametrize("device", DEVICES)
def test_it_is_of_the_shipped_ladder(device: str) -> None:
    ladder = setup_of(f"{device} short").short
    assert ladder is not None
    told = f"run {short.COMMAND} --device {device} --full --keep again"
    assert {row["ladder_version"] for row in rows(device)} == {str(ladder.version)}, told


def test_a_device_is_written_anew_and_others_stay(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    entry = BY_ID["F01"]
    case = short.Case(label="above", entries=(entry,), injected=("data-bit-stuck-low=4",))
    seen, missed = (
        Trial(outcome=outcome, named=(), together=(), none_of_these=False) for outcome in ("FAIL", "PASS")
    )
    unseen = short.Line(case=case, short=missed, full=missed)
    lost = short.Line(case=case, short=missed, full=seen)
    found = short.Line(case=case, short=seen, full=None)
    short.kept("tarn-vg-1", [lost, unseen, found], failed=1, good=9, path=path)
    short.kept("corrie-ur-2", [found], failed=0, good=0, path=path)
    short.kept("tarn-vg-1", [lost, unseen], failed=0, good=2, path=path)
    assert [(row["short"], row["whole"]) for row in rows("tarn-vg-1", path)] == [("PASS", "FAIL"), ("0 of 2 FAIL", "")]
    assert not shown(rows("tarn-vg-1", path)[0], "PASS")
    assert [row["short"] for row in rows("corrie-ur-2", path)] == ["FAIL"]
