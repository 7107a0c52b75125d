"""The decision table of realness, cell by cell (common practice, no source: words decide, waveforms confirm)."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest

from harness.judge.claims.realness import realness_claim, step_realness_claim
from harness.judge.realness import SAME_PERCENT, Evidence, Found, of_settings, of_step
from harness.judge.steps import Step
from harness.values import Realness, Setting
from tests.judge.run_builder import FULL

BASE = Evidence(
    setting=Setting(1, 0, 0), word=100, sound=True, relays=frozenset({"K1"}), gain_codes_per_v=1000.0,
    hardware_codes_per_v=1000.0, planned_codes_per_v=1000.0, declared_ratio=1.0, code_spacing=1,
)  # fmt: skip
UP = dataclasses.replace(
    BASE, setting=Setting(1, 0, 1), word=110, gain_codes_per_v=1100.0, hardware_codes_per_v=1100.0,
    planned_codes_per_v=1100.0,
)  # fmt: skip

STEPS: dict[str, tuple[dict[str, Any], Realness, float, str]] = {
    "new word, gain follows": ({}, Realness.HARDWARE, 1.0, ""),
    "new relay, same word, gain follows": ({"word": 100, "relays": frozenset()}, Realness.HARDWARE, 1.0, ""),
    "new word, gain goes elsewhere": ({"gain_codes_per_v": 1300.0}, Realness.HARDWARE, 1.0, ""),
    "new word, gain stays": ({"gain_codes_per_v": 1000.0}, Realness.FAULT, 1.0, "the gain did not move"),
    "new word, gain stays, comb appears": (
        {"gain_codes_per_v": 1000.0, "code_spacing": 2}, Realness.FAULT, 1.0, "the gain did not move",
    ),
    "new word and a comb": (
        {"gain_codes_per_v": 2200.0, "code_spacing": 2}, Realness.MIXED, 2.0, "new word, and ×2 beside it",
    ),
    "new word and declared arithmetic": (
        {"gain_codes_per_v": 2200.0, "declared_ratio": 2.0}, Realness.MIXED, 2.0, "new word, and ×2 beside it",
    ),
    "new word for half the step, gain as displayed": (
        {"hardware_codes_per_v": 1048.8}, Realness.MIXED, 1100.0 / 1048.8,
        "new word for ×1.049, and ×1.049 of arithmetic",
    ),
    "new word for half the step, gain goes elsewhere": (
        {"hardware_codes_per_v": 1048.8, "gain_codes_per_v": 1048.8}, Realness.HARDWARE, 1.0, "",
    ),
    "same word, gain moves": (
        {"word": 100, "hardware_codes_per_v": 1000.0}, Realness.ARITHMETIC, 1.1, "the word and relays did not",
    ),
    "same word, gain stays, as planned": (
        {"word": 100, "hardware_codes_per_v": 1000.0, "gain_codes_per_v": 1000.0, "planned_codes_per_v": 1000.0},
        Realness.HARDWARE, 1.0, "",
    ),
    "same word, gain stays, a step was planned": (
        {"word": 100, "hardware_codes_per_v": 1000.0, "gain_codes_per_v": 1000.0}, Realness.FAULT, 1.0,
        "neither the word nor the gain changed",
    ),
    "no word, gain stays": (
        {"word": None, "gain_codes_per_v": 1000.0}, Realness.FAULT, 1.0, "no word latched and the gain did not move",
    ),
    "no word, gain moves": ({"word": None}, Realness.UNPROVEN, 1.0, "the gain moved, but no word was latched"),
    "no capture": ({"sound": False}, Realness.UNPROVEN, 1.0, "no control word was captured"),
    "no gain": ({"gain_codes_per_v": None}, Realness.UNPROVEN, 1.0, "no valid gain on both sides"),
}  # fmt: skip


@pytest.mark.parametrize(("changes", "realness", "ratio", "why"), STEPS.values(), ids=STEPS.keys())
def test_a_step(changes: dict[str, Any], realness: Realness, ratio: float, why: str) -> None:
    found = of_step(BASE, dataclasses.replace(UP, **changes))
    assert found.realness is realness
    assert found.ratio == pytest.approx(ratio)
    assert why in found.why
    assert bool(found.why) is bool(why)


def settings(*items: dict[str, Any]) -> list[Any]:
    evidence = [dataclasses.replace(BASE, setting=Setting(1, 0, i), **item) for i, item in enumerate(items)]
    found = of_settings(evidence)
    return [found[item.setting] for item in evidence]


def test_settings_of_one_state_share_the_least_gain_of_it() -> None:
    found = settings({}, {"gain_codes_per_v": 1500.0}, {"gain_codes_per_v": 2000.0, "code_spacing": 2}, {"word": 7})
    assert [f.realness for f in found] == [
        Realness.HARDWARE, Realness.ARITHMETIC, Realness.ARITHMETIC, Realness.HARDWARE,
    ]  # fmt: skip
    assert [f.ratio for f in found] == [1.0, pytest.approx(1.5), pytest.approx(2.0), 1.0]
    assert found[1].why == "×1.5 with the same word and relays"
    assert found[2].why == "×2 with the same word and relays, every 2. code used"


@pytest.mark.parametrize(("off_percent", "realness"), [(0.5, Realness.HARDWARE), (0.7, Realness.ARITHMETIC)])
def test_gains_within_the_window_are_the_same(off_percent: float, realness: Realness) -> None:
    assert 0.5 < SAME_PERCENT < 0.7
    assert settings({}, {"gain_codes_per_v": 1000.0 * (1.0 + off_percent / 100.0)})[1].realness is realness


def test_the_same_word_behind_another_relay_is_another_state() -> None:
    assert settings({}, {"relays": frozenset(), "gain_codes_per_v": 100.0})[0].realness is Realness.HARDWARE


def test_a_word_that_stands_for_less_than_the_gain_hides_arithmetic() -> None:
    less = {"hardware_codes_per_v": 900.0}
    hidden, wrong = settings({**less, "word": 90}, {**less, "word": 91, "gain_codes_per_v": 900.0})
    assert (hidden.realness, hidden.ratio) == (Realness.MIXED, pytest.approx(1000.0 / 900.0))
    assert hidden.why == "the word stands for ×0.9 of the gain, the rest is arithmetic"
    assert wrong.realness is Realness.HARDWARE


def test_what_is_not_known_is_said() -> None:
    unsound, unlatched, unmeasured = settings({"sound": False}, {"word": None}, {"gain_codes_per_v": None})
    assert (unsound.realness, unsound.why) == (Realness.UNPROVEN, "no control word was captured")
    assert unlatched.realness is Realness.FAULT
    assert (unmeasured.realness, unmeasured.why) == (Realness.UNPROVEN, "no valid gain")


def test_a_declared_factor_needs_a_comb_or_a_neighbour() -> None:
    declared = {"declared_ratio": 2.0, "gain_codes_per_v": 2000.0}
    assert settings(declared)[0].realness is Realness.UNPROVEN
    assert settings({**declared, "code_spacing": 2})[0].ratio == pytest.approx(2.0)
    assert settings({}, declared)[1].ratio == pytest.approx(2.0)
    # A factor that is no whole number leaves no comb.
    assert settings({**declared, "declared_ratio": 1.5, "code_spacing": 2})[0].realness is Realness.UNPROVEN


@pytest.mark.parametrize("realness", [Realness.MIXED, Realness.FAULT])
def test_a_setting_that_is_neither_hardware_nor_declared_fails(realness: Realness) -> None:
    found = dataclasses.replace(settings({})[0], realness=realness, why="so it is")
    claim = realness_claim(found, FULL.rungs[0].prediction)
    assert claim.outcome.value == "FAIL"
    specified = "; hardware is specified" if realness is Realness.MIXED else ""
    assert claim.reason == f"ch1 20V 100 %: {realness}: so it is{specified}"


@pytest.mark.parametrize(
    ("ratio", "u_ratio", "outcome"),
    [
        # Allowed are 2 %: ln(2.02/2) = 0.995 %, ln(2.1/2) = 4.88 %, ln(2.05/2) = 2.47 %, ln(1.97/2) = -1.51 %.
        (2.0, 0.0, "PASS"), (2.02, 0.01, "PASS"), (2.1, 0.01, "FAIL"), (1.5, 0.0, "FAIL"), (1.0, 0.01, "FAIL"),
        (2.05, 0.01, "INCONCLUSIVE"), (1.97, 0.01, "INCONCLUSIVE"), (1.97, 0.0, "PASS"),
        (1.0, math.inf, "INCONCLUSIVE"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("realness", [Realness.MIXED, Realness.ARITHMETIC])
def test_an_arithmetic_part_is_held_against_the_declared_factor(
    realness: Realness, ratio: float, u_ratio: float, outcome: str
) -> None:
    declared = next(r.prediction for r in FULL.rungs if r.prediction.state.arithmetic_ratio == 2.0)
    plain = FULL.rungs[0].prediction
    found = Found(realness=realness, ratio=ratio, u_ratio=u_ratio, why="so it is")
    step = Step(lower=plain, upper=declared, kind="coarse", measured_ratio=200.0, found=found, word_changed=True)
    for claim in (realness_claim(found, declared), step_realness_claim(step)):
        assert claim.outcome.value == outcome
        assert ("declared ×2" in claim.reason) is (outcome != "PASS")
        assert ("the factor is" in claim.reason) is (outcome == "INCONCLUSIVE")
    # Nothing declared: whatever the factor, and also where it is not known.
    back = dataclasses.replace(step, lower=declared)
    for claim in (realness_claim(found, plain), step_realness_claim(back)):
        assert claim.outcome.value == "FAIL"
        assert claim.reason.endswith("hardware is specified")
