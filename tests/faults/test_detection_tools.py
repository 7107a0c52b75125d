"""What makes the table of detection: sizes, the search for the smallest, rows kept from a run that was stopped."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from harness.simulated import SIZES, catalogue
from tests.faults.detection import Row, text_of
from tests.faults.smallest import STEPS, has_scale, least_step, size_at
from tests.faults.table import Kept, alarm, summary, written
from tests.faults.trial import Trial, safe_trial

BY_ID = {entry.id: entry for entry in catalogue()}
TRIAL = Trial(outcome="FAIL", named=("probe-factor-wrong",), together=("pad-wrong",), none_of_these=False, blind=("x",))


def row(identity: str, *trials: Trial, note: str = "") -> Row:
    return Row(
        device="skerry-hr-4",
        entry=BY_ID[identity],
        label="above",
        injected="a=1",
        trials=trials,
        smallest="1",
        note=note,
    )


def test_sizes_are_those_of_the_list_with_probabilities_scaled_to_the_ladder() -> None:
    assert text_of(BY_ID["F26"], "above", "skerry-hr-4") == f"attenuator-resistor-wrong:2{SIZES['F26'].above}"
    # ln 100 / 110 events: it shows in 99 % of runs.
    assert text_of(BY_ID["F45"], "above", "skerry-hr-4") == "intermittent-joint:2=0.0419"
    assert text_of(BY_ID["F45"], "below", "skerry-hr-4") == "intermittent-joint:2=1e-5"
    assert text_of(BY_ID["F26"], "above", "corrie-ur-2") == f"attenuator-resistor-wrong{SIZES['F26'].above}"
    assert text_of(BY_ID["F19"], "above", "skerry-hr-4") == "register-reset-mid-run:2@150"


# Twice and half of the effect: percent, dB, factors around 1, loads that do less the larger they are.
@pytest.mark.parametrize(
    ("identity", "double", "half"),
    [
        ("F26", "2", "0.5"),
        ("F31", "1.84,4", "0.46,4"),
        ("F34", "4,-200", "1,-50"),
        ("F41", "-54", "-66"),
        ("F30", "1.04", "1.01"),
        ("T6", "3.75", "15"),
        ("F37", "-0.6", "-0.15"),
    ],
)
def test_sizes_are_scaled_by_their_effect(identity: str, double: str, half: str) -> None:
    assert (size_at(BY_ID[identity], 2), size_at(BY_ID[identity], -2)) == (double, half)
    assert has_scale(BY_ID[identity])


def test_what_has_no_scale_is_not_searched() -> None:
    assert not any(has_scale(BY_ID[identity]) for identity in ("F01", "F07", "F56", "I10"))


@pytest.mark.parametrize("least", [*STEPS, None])
def test_the_search_ends_at_the_least_step_that_is_found(least: int | None) -> None:
    asked: list[int] = []

    def found(step: int) -> bool:
        asked.append(step)
        return least is not None and step >= least

    assert least_step(found) == least
    assert len(asked) <= 5


def test_rows_are_kept_and_those_of_other_sources_are_not_taken(tmp_path: Path) -> None:
    job, made = ("skerry-hr-4", "T5", (1,), ("above",)), [row("T5", TRIAL)]
    path = tmp_path / "kept.jsonl"
    kept = Kept(path)
    assert kept.get(job) is None
    kept.put(job, made)
    assert Kept(path).get(job) == made
    assert Kept(None).get(job) is None
    path.write_text(path.read_text("utf-8").replace('"made_by": "', '"made_by": "0'), "utf-8")
    assert Kept(path).get(job) is None


def test_a_unit_that_cannot_have_a_fault_says_so() -> None:
    assert safe_trial("tarn-vg-1", ("relay-not-picking",), seed=1).outcome == "UNABLE"


def test_who_is_blamed_is_counted() -> None:
    def one(*named: str, outcome: str = "FAIL", together: tuple[str, ...] = ()) -> Row:
        return row("T5", Trial(outcome=outcome, named=named, together=together, none_of_these=False))

    assert one("relay-not-picking").blamed == 1
    assert one("relay-not-picking", together=("probe-factor-wrong",)).blamed == 0
    assert one("relay-not-picking", outcome="PASS").blamed == 0


def test_the_table_as_text() -> None:
    text = written([row("T5", TRIAL)], command="x", alarms=("none",))
    assert text.splitlines()[0] == "# Written by `x`; do not edit."
    assert text.splitlines()[-1] == "skerry-hr-4,T5,probe-factor-wrong,S,above,a=1,1,FAIL:1,1,1,1,1,0,1,"
    missed = dataclasses.replace(TRIAL, outcome="PASS", named=(), together=())
    told = summary([row("T5", TRIAL, missed), row("F26", missed), row("F48", missed, note="not exercised")])
    assert told.splitlines() == [
        "of the unit, above, 1 runs: 0 found, 0 named in the best three, 0 with what is not told apart",
        "of the station, above, 2 runs: 1 found, 1 named in the best three, 1 with what is not told apart",
    ]
    # 0 of 100: 1 - 0.05^(1/100), by hand.
    assert alarm("x", 0, 100) == "good units of the x: 0 of 100 FAIL; at 95 % below 3 %"
