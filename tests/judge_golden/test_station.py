"""A station's look at itself: parts from numbers, in words that name what is wrong."""

from __future__ import annotations

import math
from types import SimpleNamespace

import pytest

from harness.judge.golden import bus_part, factor_part, loop_part, noise_part, worst_of
from harness.values import ControlWord, Event, Outcome, Setting, StationCheck, StationPart
from harness.values import station_check_of as read_back
from harness.values import station_check_text as written

PASS, FAIL, INVALID, OPEN = Outcome.PASS, Outcome.FAIL, Outcome.INVALID, Outcome.INCONCLUSIVE


def result(*residuals, word=PASS, seen=("latch-1:05",)):
    """Of channels 1, 2, ..., a row each with its residual, percent."""
    rows = [
        SimpleNamespace(
            setting=Setting(channel, 0, 0), residual_percent=residual, word_outcome=word, label=f"ch{channel} 5V",
            expected_word=ControlWord("latch-1", 8, 5), captured_words=seen,
        )
        for channel, residual in enumerate(residuals, 1)
    ]  # fmt: skip
    return SimpleNamespace(settings=rows)


def test_the_meter_is_held_against_the_source():
    part = loop_part([0.1, -0.9, 0.4], allowed_percent=1.0)
    assert (part.outcome, part.text) == (PASS, "meter over source -0.9 % at worst of 3 levels, allowed 1 %")
    assert loop_part([0.1, 1.01], allowed_percent=1.0).outcome is FAIL
    assert loop_part([], allowed_percent=1.0).outcome is None
    assert loop_part([5.0], allowed_percent=None).text.endswith("states no accuracy to allow")


def test_a_factor_is_named_by_what_makes_it():
    assert factor_part(result(0.3, -0.2), allowed_percent=5.0).outcome is PASS
    half = -100.0 * math.log(2.0)
    part = factor_part(result(half, half), allowed_percent=5.0)
    assert part.outcome is FAIL
    assert "ch1 -69.3 %, ch2 -69.3 %, allowed 5 %; ×2: source set for 50 Ω into high impedance" in part.text
    assert factor_part(result(0.0, 33.0), allowed_percent=5.0).text.endswith("no exact factor is near")
    part = factor_part(result(0.0, None), allowed_percent=5.0)
    assert (part.outcome, part.text) == (INVALID, "no valid reading of ch2")
    assert factor_part(result(), allowed_percent=5.0).text == "no valid reading of any channel"


@pytest.mark.parametrize(("ratio", "outcome"), [(1.34, PASS), (1.36, FAIL), (0.75, PASS), (0.73, FAIL)])
def test_noise_may_be_neither_more_nor_less(ratio, outcome):
    assert noise_part({"ch1": 1.0, "ch2": ratio}, most_ratio=1.35).outcome is outcome
    assert noise_part({}, most_ratio=1.35).outcome is None


def test_a_word_that_was_not_seen_is_named():
    assert bus_part(result(0.0, 0.0)).text == "2 settings, each bit both ways: every word as sent"
    part = bus_part(result(0.0, word=FAIL, seen=()))
    assert (part.outcome, part.text) == (FAIL, "1 of 1 settings: ch1 5V sent latch-1:05, seen nothing")
    assert bus_part(result(0.0, word=INVALID)).outcome is INVALID
    assert bus_part(result(0.0, word=None)).outcome is None


def test_the_worst_part_is_the_outcome():
    assert worst_of([PASS, None]) is PASS
    assert worst_of([FAIL, PASS, OPEN]) is FAIL
    assert worst_of([FAIL, INVALID]) is INVALID
    assert worst_of([None, None]) is worst_of([PASS, OPEN]) is OPEN


def test_a_check_comes_back_from_its_line():
    parts = (StationPart(name="n", outcome=PASS, text="Ω"), StationPart(name="m", outcome=None, text=""))
    check = StationCheck(station="s", unit="G1", outcome=PASS, parts=parts)
    event = Event(at_utc="", at_s=0.0, kind="", text=written(check))
    assert read_back(event) == check
    for text in ("", "[]", "{}", '{"parts": 3}', written(check).replace('"PASS"', '"pass"')):
        assert read_back(Event(at_utc="", at_s=0.0, kind="", text=text)) is None
