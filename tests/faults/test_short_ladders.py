"""Short ladders find what the whole ladder finds: sizes that the dictionary lacks, pairs, good units.

The longer one: `python -m tests.faults.short`.
"""

from __future__ import annotations

import dataclasses

import pytest

from harness.simulated import catalogue
from tests.faults import short
from tests.faults.trial import Trial, safe_trial, setup_of

BY_ID = {entry.id: entry for entry in catalogue()}


@pytest.mark.parametrize("device", ["tarn-vg-1", "corrie-ur-2"])
def test_a_good_unit_does_not_fail(device: str) -> None:
    found = safe_trial(f"{device} short", (), seed=1001)
    assert (found.outcome, found.how) == ("PASS", "")


def test_the_line_ladders_are_short() -> None:
    sizes = {name: len(setup_of(f"{name} short").planned()) for name in ("skerry-hr-4", "tarn-vg-1", "corrie-ur-2")}
    assert sizes == {"skerry-hr-4": 68, "tarn-vg-1": 30, "corrie-ur-2": 18}


@pytest.mark.parametrize(
    "injected",
    [
        # Places and sizes that no table of ours names, and a pair of opposite sign.
        ("bit-weight-wrong=2.6,3",),
        ("data-bits-swapped=2,5",),
        ("relay-stuck-on=2",),
        ("load-resistor-wrong=3", "attenuator-resistor-wrong=-3"),
    ],
)
def test_unseen_sizes_and_pairs_are_found(injected: tuple[str, ...]) -> None:
    device = "tarn-vg-1" if injected[0].startswith(("bit", "data")) else "corrie-ur-2"
    assert safe_trial(f"{device} short", injected, seed=31).outcome == "FAIL"


def test_waits_that_are_too_short_are_told_where_the_middle_setting_is_the_end_of_its_range() -> None:
    """The middle of this ladder by level is the least sensitive setting of its range: no step within leads to it."""
    found = safe_trial("tarn-vg-1 short", ("settle-too-short=5",), seed=21)
    assert (found.outcome, found.named[:1]) == ("LOCKED", ("settle-too-short",))


def of(outcome: str) -> Trial:
    return Trial(outcome=outcome, named=(), together=(), none_of_these=False)


def test_what_only_the_whole_ladder_finds_is_lost() -> None:
    case = short.Case(label="above", entries=(BY_ID["F01"],), injected=("data-bit-stuck-low=4",))
    outcomes = {"x short": "PASS", "x full": "FAIL"}
    line = short.line_of("x", case, seed=1, full=False, look=lambda ladder, faults, seed: of(outcomes[ladder]))
    assert line.lost
    assert short.told(line).endswith(" LOST")
    assert short.summary([line]).startswith("above: 0 of 1 found; 0 said to be out of sight; lost 1")
    outcomes["x short"] = "FAIL"
    line = short.line_of("x", case, seed=1, full=False, look=lambda ladder, faults, seed: of(outcomes[ladder]))
    assert line.found
    assert line.full is None
    assert "1 of 1 found" in short.summary([line])


def test_what_a_run_says_it_cannot_see_is_not_lost() -> None:
    case = short.Case(label="above", entries=(BY_ID["F53"],), injected=("converter-missing-codes=8",))
    blind = dataclasses.replace(of("PASS"), blind=("F53: needs a pooled histogram of the converter",))
    line = short.Line(case=case, short=blind, full=of("FAIL"))
    assert (line.lost, short.told(line)[-5:]) == (False, " told")
    assert short.summary([line]).startswith("above: 0 of 1 found; 1 said to be out of sight; lost 0")
    assert short.Line(case=case, short=of("PASS"), full=of("FAIL")).lost
    # Only of what needs many records: of all else a short ladder sees enough.
    case = dataclasses.replace(case, entries=(BY_ID["F01"],))
    assert short.Line(case=case, short=dataclasses.replace(blind, blind=("F01: x",)), full=of("FAIL")).lost


def test_sizes_and_pairs_are_others_than_those_above() -> None:
    cases = [*short.singles("tarn-vg-1")]
    above = {case.injected for case in cases if case.label == "above"}
    unseen = {case.injected for case in cases if case.label == "unseen"}
    assert len(unseen) > 15
    assert not above & unseen
    drawn = [case.injected for case in short.pairs(cases, 8, seed=3)]
    assert drawn == [case.injected for case in short.pairs(cases, 8, seed=3)]
    assert all(len(injected) == 2 for injected in drawn)
