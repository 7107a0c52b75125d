"""`judge --compare`: which units and settings come out otherwise under other limits, over the stored runs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

JOB = """\
kind = "job"
version = 1
name = "short"
device = "{configs}/devices/{device}.toml"
bench = "{configs}/benches/{bench}.toml"
limits = "{configs}/limits/{device}.toml"
transport = "in-process"

[[change]]
version = 1
date = 2026-01-01
owner = "o"
reason = "r"

[ladder]
channels = [1]
coarse = {coarse}
fine = [0, 1]
directions = ["up"]
fill_low = 0.04
"""


@pytest.fixture
def swept(gainladder: Any, tmp_path: Path) -> Any:
    def sweep(device: str, bench: str, coarse: str, unit: str) -> str:
        path = tmp_path / f"{unit}.toml"
        path.write_text(JOB.format(configs=Path("configs").resolve(), device=device, bench=bench, coarse=coarse))
        return str(gainladder("sweep", str(path), "--unit", unit, "--seed", "1", "--json").json["run"])

    return sweep


@pytest.fixture
def tight(tmp_path: Path) -> str:
    """Limits under which no absolute gain can pass, and every residual must."""
    text = Path("configs/limits/skerry-hr-4.toml").read_text()
    path = tmp_path / "tight.toml"
    path.write_text(text.replace("low = -2.0\nhigh = 2.0\nguard = 0.44", "low = 5.0\nhigh = 6.0\nguard = 0.0"))
    return str(path)


def test_units_and_settings_that_flip_are_named(gainladder: Any, swept: Any, tight: str) -> None:
    first = swept("skerry-hr-4", "simulated", '["20V", "10V"]', "A1")
    second = swept("skerry-hr-4", "simulated", '["5V"]', "A2")
    other = swept("tarn-vg-1", "simulated-tarn-vg-1", "[]", "B7")
    ended = gainladder("judge", "--compare", tight)
    assert ended.code == 0
    assert "A1: PASS -> FAIL; 4 settings, 4 claims flip" in ended.out
    assert "PASS -> FAIL  ch1 5V 100 % gain" in ended.out
    assert "allowed -2 to +2 -> +5 to +6" in ended.out
    assert f"{other}  not compared: " in ended.out
    assert "attenuator 1:10" in ended.out
    assert ended.out.splitlines()[-1] == (
        f"2 runs compared: 2 pass by their own limits, 0 by {tight}; 2 verdicts and 6 settings flip: A1, A2"
    )
    told = gainladder("judge", "--compare", tight, "--json").json
    assert [run["run"] for run in told["runs"]] == [second, first]
    assert {claim["item"] for run in told["runs"] for claim in run["claims"]} == {"gain"}
    assert [len(run["settings"]) for run in told["runs"]] == [2, 4]
    assert [entry["run"] for entry in told["not_compared"]] == [other]


def test_one_run_with_limits_that_change_nothing(gainladder: Any, swept: Any) -> None:
    run = swept("skerry-hr-4", "simulated", '["5V"]', "A2")
    same = gainladder("judge", run[:20], "--compare", "configs/limits/skerry-hr-4.toml")
    assert same.code == 0
    assert same.out.startswith("1 runs compared: 1 pass by their own limits, 1 by ")
    assert "0 verdicts and 0 settings flip" in same.out


def test_nothing_to_compare_is_an_error(gainladder: Any, swept: Any, tight: str) -> None:
    run = swept("tarn-vg-1", "simulated-tarn-vg-1", "[]", "B7")
    ended = gainladder("judge", "--compare", tight)
    assert ended.code == 2
    assert "no stored run can be judged by these limits" in ended.err
    assert run in ended.err


def test_what_cannot_be_meant_is_an_error(gainladder: Any) -> None:
    anew = gainladder("judge", "last", "--compare", "a.toml", "--anew")
    assert (anew.code, "got --compare and --anew" in anew.err) == (2, True)
    both = gainladder("judge", "last", "--compare", "a.toml", "--limits", "b.toml")
    assert both.code == 2
    assert "got --limits and --compare" in both.err
    none = gainladder("judge")
    assert none.code == 2
    assert "got no RUN" in none.err
