"""A channel with two gain devices: both words count."""

from __future__ import annotations

import pytest

from harness.judge.measured import Captured, Measured
from harness.judge.rows import Gathered, word_claim
from harness.values import ControlWord, Direction, Outcome, Prediction, ReadingStatus, Setting, State

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
