"""Lines of the journal about golden checks and attempts: what is written is read again, what is spoilt is nothing."""

from __future__ import annotations

import dataclasses

import pytest

from harness.values import (
    ATTEMPT,
    GOLDEN_CHECK,
    GOLDEN_SAYS,
    VERDICT,
    Attempt,
    EndedAs,
    Event,
    GoldenLook,
    GoldenNumber,
    Outcome,
    attempt_of,
    attempt_text,
    ended_as_of,
    ended_as_text,
    golden_of,
    golden_says_of,
    golden_says_text,
    golden_text,
)

LOOK = GoldenLook(
    unit="G1", station="line 1", job="j", outcome=Outcome.FAIL, reference=False, restart="", common_percent=-9.2,
    numbers=(GoldenNumber(name="ln K", percent=0.25),), run_id="r1", at_utc="2026-11-30T10:00:00+00:00",
)  # fmt: skip
BEGUN = Attempt(unit="A1", job="j", station="s", number=2, most=3, failed_before=True, repaired="K1 changed")


def line(kind, text):
    return Event(at_utc=LOOK.at_utc, at_s=0.0, kind=kind, text=text)


def test_a_golden_check_is_read_as_it_was_written():
    assert golden_of("r1", line(GOLDEN_CHECK, golden_text(LOOK))) == LOOK


@pytest.mark.parametrize("spoilt", ["", "{}", "[]", "null", golden_text(LOOK).replace("0.25", "NaN"), '{"numbers": 3}'])
def test_a_spoilt_golden_check_is_none(spoilt):
    assert golden_of("r1", line(GOLDEN_CHECK, spoilt)) is None


def test_the_last_word_of_a_golden_unit_counts():
    lines = [line(GOLDEN_SAYS, golden_says_text("station", "x")), line(GOLDEN_SAYS, golden_says_text("unit", "y: z"))]
    assert golden_says_of(lines) == ("unit", "y: z")
    assert golden_says_of([line(GOLDEN_SAYS, "nobody: z")]) is None
    assert golden_says_of([]) is None


def test_an_attempt_and_its_end():
    lines = [line(ATTEMPT, attempt_text(BEGUN)), line(VERDICT, ended_as_text(EndedAs(outcome=Outcome.FAIL, place="p")))]
    assert attempt_of(lines) == BEGUN
    assert ended_as_of(lines) == EndedAs(outcome=Outcome.FAIL, place="p")
    again = line(VERDICT, ended_as_text(EndedAs(outcome=Outcome.PASS, place="")))
    assert ended_as_of([*lines, again]) == EndedAs(outcome=Outcome.PASS, place="")
    assert attempt_of([line(ATTEMPT, "{}")]) is None
    assert ended_as_of([line(VERDICT, '{"outcome": "GOOD", "place": ""}')]) is None
    assert (attempt_of([]), ended_as_of([])) == (None, None)
    assert dataclasses.replace(BEGUN, number=1) != BEGUN
