"""Each fault of the main job: exit code, the affected settings and no others, and its name."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from harness.app.setup import read_setup
from harness.values import Prediction
from tests.faults.trial import setup_of, trial

JOB = "configs/jobs/ci.toml"
DEVICE = "skerry-hr-4"
"""Its ladder of trials is that of the job."""
Affected = Callable[[Prediction], bool]


def code(p: Prediction) -> int:
    return int(p.state.control("code"))


# What must fail is worked out from the planned states alone (signatures of single faults: common practice, no source).
PRODUCT: list[tuple[str, str, Affected]] = [
    ("data-bit-stuck-low:2", "data-bit-stuck-low", lambda p: bool(code(p) & 16)),
    ("data-bit-stuck-low:2=5", "data-bit-stuck-low", lambda p: bool(code(p) & 32)),
    ("relay-not-picking:2", "relay-not-picking", lambda p: p.state.control("attenuator") == "1:10"),
    ("relay-not-picking:2=2", "relay-not-picking", lambda p: p.state.control("attenuator") == "1:100"),
    ("pregain-ratio-wrong:2", "pregain-ratio-wrong", lambda p: p.state.control("pregain") == 1),
    ("latch-missing:2", "latch-missing", lambda p: True),
    ("fine-gain-arithmetic:2", "fine-gain-arithmetic", lambda p: p.setting.fine > 0),
    ("load-resistor-missing:2", "load-resistor-missing", lambda p: True),
]


def planned() -> dict[str, Prediction]:
    return {rung.prediction.label: rung.prediction for rung in read_setup(JOB).rungs}


@pytest.mark.parametrize(("fault", "name", "affected"), PRODUCT, ids=[row[0] for row in PRODUCT])
def test_exactly_the_affected_settings_fail(gainladder: Any, fault: str, name: str, affected: Affected) -> None:
    ended = gainladder("sweep", JOB, "--unit", "A1", "--seed", "1", "--fault", fault, "--json")
    assert ended.code == 1, ended.err
    expected = {label for label, p in planned().items() if p.setting.channel == 2 and affected(p)}
    assert 0 < len(expected) < len(planned())
    assert set(ended.json["failing_settings"]) == expected
    assert ended.json["counts"]["INVALID"] == 0
    assert name in [candidate["fault"] for candidate in ended.json["candidates"]]
    assert {step.split()[0] for step in ended.json["failing_steps"]} <= {"ch2"}


def test_a_fault_without_a_channel_sits_in_all_of_them(gainladder: Any) -> None:
    ended = gainladder("sweep", JOB, "--unit", "A1", "--fault", "pregain-ratio-wrong", "--json")
    assert ended.code == 1
    assert {label.split()[0] for label in ended.json["failing_settings"]} == {"ch1", "ch2"}


def test_a_factor_on_all_channels_names_both_device_and_source(gainladder: Any) -> None:
    ended = gainladder("sweep", JOB, "--unit", "A1", "--fault", "load-resistor-missing", "--json")
    assert ended.code == 1
    assert [c["fault"] for c in ended.json["candidates"]][:2] == ["load-resistor-missing", "source-load-mis-set"]
    assert len(ended.json["failing_settings"]) == len(planned())


@pytest.mark.parametrize("size", ["", "=50", "=25"])
def test_the_station_is_named_and_the_unit_is_not_blamed(gainladder: Any, size: str) -> None:
    ended = gainladder("sweep", JOB, "--unit", "A1", "--fault", f"source-load-mis-set{size}", "--json")
    assert ended.code == 3
    assert ended.json["verdict"] == "INVALID"
    assert ended.json["counts"]["FAIL"] == 0
    assert ended.json["candidates"][0]["fault"] == "source-load-mis-set"
    assert "STATION FAULT source-load-mis-set" in ended.err


def test_a_factor_that_may_be_the_pad_or_the_unit_fails_no_unit_and_names_both(gainladder: Any) -> None:
    ended = gainladder("sweep", JOB, "--unit", "A1", "--fault", "pad-wrong=0.5", "--json")
    assert ended.code == 5
    assert ended.json["counts"]["FAIL"] == ended.json["counts"]["INVALID"] == 0
    names = {name for c in ended.json["candidates"] for name in (c["fault"], *c["ambiguous"])}
    assert {"pad-wrong", "load-resistor-wrong"} <= names


def test_a_healthy_unit_passes_and_exactly_the_declared_range_is_arithmetic(gainladder: Any) -> None:
    ended = gainladder("sweep", JOB, "--unit", "A1", "--seed", "1", "--json")
    assert ended.code == 0, ended.err
    assert ended.json["verdict"] == "PASS"
    assert ended.json["counts"] == {"PASS": len(planned()), "FAIL": 0, "INCONCLUSIVE": 0, "INVALID": 0}
    assert set(ended.json["arithmetic_settings"]) == {label for label in planned() if " 10mV " in label}


def test_the_trials_walk_the_ladder_of_this_job() -> None:
    assert setup_of(DEVICE).rungs == read_setup(JOB).rungs


# Without store and page; many more by `python -m tests.studies.false_fail`.
@pytest.mark.parametrize("seed", range(2, 12))
def test_good_units_of_other_seeds_pass_too(seed: int) -> None:
    assert trial(DEVICE, (), seed=seed).outcome == "PASS"


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("latch-misssing", "latch-missing"),
        ("relay-not-picking=9", "9"),
        ("data-bit-stuck-low:7", "7"),
        ("source-load-mis-set:1", "channel"),
    ],
)
def test_a_fault_that_does_not_exist_is_a_usage_error_with_the_nearest_names(
    gainladder: Any, fault: str, said: str
) -> None:
    ended = gainladder("sweep", JOB, "--unit", "A1", "--fault", fault)
    assert ended.code == 2
    assert said in ended.err
    assert "Traceback" not in ended.err
