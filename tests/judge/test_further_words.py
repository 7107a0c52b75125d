"""A channel with two gain devices: both words count."""

from __future__ import annotations

import dataclasses

import pytest

from harness.judge.claims.word import word_claim
from harness.judge.measured import Captured, Measured
from harness.judge.realness import Evidence, of_settings, of_step
from harness.judge.rows import Gathered, evidence_of
from harness.values import ControlWord, Direction, Outcome, Prediction, ReadingStatus, Realness, Setting, State

PLANNED = Prediction(
    setting=Setting(1, 0, 0),
    state=State(word=ControlWord("a", 8, 5), more=(ControlWord("b", 4, 3),), controls=(), arithmetic_ratio=1.0),
    label="ch1 low",
    full_scale_vpp=1.0,
    gain_codes_per_v=1.0,
)


@pytest.mark.parametrize(
    ("first", "second", "outcome", "said"),
    [
        (5, 3, Outcome.PASS, ""),
        (5, 2, Outcome.FAIL, "ch1 low: word b:2; planned b:3"),
        (4, 3, Outcome.FAIL, "ch1 low: word a:04; planned a:05"),
    ],
)
def test_each_gain_device_must_hold_its_word(first: int, second: int, outcome: Outcome, said: str) -> None:
    further = Captured(value=second, text=str(ControlWord("b", 4, second)), sound=True)
    captured = Captured(value=first, text=str(ControlWord("a", 8, first)), sound=True, more=(further,))
    reading = Measured(
        direction=Direction.UP, status=ReadingStatus.VALID, reason="", gain_codes_per_v=1.0, drive_vpk=1.0, fit=None,
        quality=None, captured=captured,
    )  # fmt: skip
    claim = word_claim(Gathered(prediction=PLANNED, planned=1, final=(reading,), attempts=1))
    assert (claim.outcome, claim.reason) == (outcome, said)


def held(first: int | None, second: int | None, gain_codes_per_v: float, fine: int) -> Gathered:
    """A setting at which the two gain devices were seen to hold these words."""
    further = Captured(value=second, text="b", sound=True)
    captured = Captured(value=first, text="a", sound=True, more=(further,))
    reading = Measured(
        direction=Direction.UP, status=ReadingStatus.VALID, reason="", gain_codes_per_v=gain_codes_per_v, drive_vpk=1.0,
        fit=None, quality=None, captured=captured,
    )  # fmt: skip
    plan = dataclasses.replace(PLANNED, setting=Setting(1, 0, fine), gain_codes_per_v=gain_codes_per_v)
    return Gathered(prediction=plan, planned=1, final=(reading,), attempts=1)


def seen(item: Gathered) -> Evidence:
    # Closed form: the second device alone sets the gain, ×1 for word 3 and ×2 for word 4.
    gains = {3: 1.0, 4: 2.0}
    return evidence_of(item, relays=frozenset(), hardware_of=lambda latched: gains.get(latched.get("b", 0), 9.0))


def test_a_step_made_by_the_second_gain_device_is_hardware() -> None:
    lower, upper = seen(held(5, 3, 1.0, 0)), seen(held(5, 4, 2.0, 1))
    assert (lower.hardware_codes_per_v, upper.hardware_codes_per_v) == (1.0, 2.0)
    assert {found.realness for found in of_settings([lower, upper]).values()} == {Realness.HARDWARE}
    assert of_step(lower, upper).realness is Realness.HARDWARE


def test_the_same_gain_change_without_any_new_word_is_arithmetic() -> None:
    lower, upper = seen(held(5, 3, 1.0, 0)), seen(held(5, 3, 2.0, 1))
    assert of_settings([lower, upper])[upper.setting].realness is Realness.ARITHMETIC
    assert of_step(lower, upper).realness is Realness.ARITHMETIC


def test_a_second_gain_device_that_latched_nothing_is_a_fault() -> None:
    lower, upper = seen(held(5, None, 1.0, 0)), seen(held(5, None, 1.0, 1))
    assert of_settings([lower, upper])[lower.setting].realness is Realness.FAULT
    assert of_step(lower, upper).realness is Realness.FAULT
