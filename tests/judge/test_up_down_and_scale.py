"""Up against down, tries that contradict each other, and the displayed scale: closed forms on made records."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from harness.values import Outcome, Reading, ReadingStatus, Rung
from tests.judge.run_builder import healthy, judged, outcomes, reading_of, reasons, setup_at

ONE = setup_at((1, 3, 0), limits=("up-down", "scale"))


@pytest.mark.parametrize(("ratio", "outcome"), [(1.002, "PASS"), (1.0032, "INCONCLUSIVE"), (1.005, "FAIL")])
def test_up_against_down_has_a_limit_of_its_own(ratio: float, outcome: str) -> None:
    up, down = ONE.rungs
    result = judged(ONE, [reading_of(up, gain_ratio=ratio), reading_of(down)])
    assert list(outcomes(result, "up-down").values()) == [outcome]
    claim = next(c for c in result.judgements if c.item == "up-down")
    assert claim.measured == pytest.approx(100.0 * math.log(ratio), abs=0.01)
    assert (outcome == "PASS") is (not reasons(result, "up-down"))


def test_one_direction_alone_makes_no_such_claim() -> None:
    setup = setup_at((1, 3, 0), limits=("up-down",), ways="up")
    assert outcomes(judged(setup, map(healthy, setup.rungs)), "up-down") == {}


def displayed(rung: Rung, ratio: float) -> Reading:
    made = reading_of(rung)
    assert made.waveform is not None
    wave = dataclasses.replace(made.waveform, scale_v_per_code=made.waveform.scale_v_per_code * ratio)
    return dataclasses.replace(made, waveform=wave)


@pytest.mark.parametrize(("ratio", "outcome"), [(1.0, "PASS"), (1.003, "INCONCLUSIVE"), (0.99, "FAIL"), (2.0, "FAIL")])
def test_a_displayed_scale_is_held_against_the_law_though_the_codes_are_right(ratio: float, outcome: str) -> None:
    up, down = ONE.rungs
    result = judged(ONE, [displayed(up, 1.0), displayed(down, ratio)])
    assert list(outcomes(result, "scale").values()) == [outcome]
    assert result.settings[0].residual_percent == pytest.approx(0.0, abs=0.01)
    assert result.settings[0].outcome is Outcome(outcome)


# Half the span over the level bounds the gain: a record without a signal at the level that fits shows an open joint.
@pytest.mark.parametrize(("left", "steady"), [(0.0, False), (0.5, False), (0.8, True), (1.0, True)])
def test_a_lost_record_is_not_mended_by_the_next_try(left: float, steady: bool) -> None:
    up, down = ONE.rungs
    lost = reading_of(up, gain_ratio=max(left, 1e-6), status=ReadingStatus.RELEVELLED, reason="underfilled")
    result = judged(ONE, [lost, reading_of(up), reading_of(down)])
    assert (reasons(result, "steady") == []) is steady
    if not steady:
        assert "1 of 3 tries had at most ×" in reasons(result, "steady")[0]
        assert result.verdict is Outcome.FAIL
        assert result.candidates[0].fault == "intermittent-joint"


def test_a_clipped_try_shows_the_rail_and_contradicts_nothing() -> None:
    up, down = ONE.rungs
    clipped = reading_of(up, status=ReadingStatus.RELEVELLED, reason="clipped")
    assert clipped.waveform is not None
    rails = np.where(clipped.waveform.codes > 0, 2047, -2048).astype(np.int16)
    # Ten times the level that fits: the rails alone would speak for a tenth of the gain.
    clipped = dataclasses.replace(
        clipped, waveform=dataclasses.replace(clipped.waveform, codes=rails), drive_read_vpk=10.0 * up.drive_vpk
    )
    assert reasons(judged(ONE, [clipped, reading_of(up), reading_of(down)]), "steady") == []


def test_a_try_without_a_level_or_a_record_contradicts_nothing() -> None:
    up, down = ONE.rungs
    off = reading_of(up, gain_ratio=0.1, status=ReadingStatus.RELEVELLED, drive_read_vpk=0.0)
    nothing = dataclasses.replace(off, waveform=None, drive_read_vpk=1.0)
    assert outcomes(judged(ONE, [off, nothing, reading_of(up), reading_of(down)]), "steady") == {}
