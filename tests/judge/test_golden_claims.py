"""A factor that all channels share: with a golden unit's word it is the unit's or the station's, not open."""

from __future__ import annotations

from harness.values import (
    ATTEMPT,
    GOLDEN_SAYS,
    LIFTED,
    SHARED_FACTOR,
    Attempt,
    Event,
    Outcome,
    attempt_text,
    golden_says_text,
    shared_factor_text,
)
from tests.judge.run_builder import healthy, judged, reading_of, reasons, setup_at

SETUP = setup_at(*((1, 3, fine) for fine in (0, 5, 10, 15, 20)))
RATIO = 0.944


def event(kind: str, text: str) -> Event:
    return Event(at_utc="2026-01-01T00:00:00+00:00", at_s=1.0, kind=kind, text=text)


SHARED = event(SHARED_FACTOR, shared_factor_text(RATIO, "shared by 2 channels"))
OFF = [reading_of(rung, gain_ratio=RATIO) for rung in SETUP.rungs]


def says(whose: str) -> Event:
    return event(GOLDEN_SAYS, golden_says_text(whose, f"golden unit G1: the {whose}"))


def test_without_a_golden_unit_it_stays_open() -> None:
    assert judged(SETUP, OFF, events=[SHARED]).verdict is Outcome.INCONCLUSIVE


def test_a_sound_golden_unit_makes_it_the_units() -> None:
    result = judged(SETUP, OFF, events=[SHARED, says("unit")])
    assert result.verdict is Outcome.FAIL
    assert all(
        reason.endswith("all channels share ×0.944: golden unit G1: the unit") for reason in reasons(result, "gain")
    )
    assert "A golden unit tells station from unit: golden unit G1: the unit." in result.notes


def test_a_golden_unit_that_is_off_as_well_makes_it_the_stations() -> None:
    result = judged(SETUP, OFF, events=[SHARED, says("station")])
    assert result.verdict is Outcome.INVALID
    assert reasons(result, "station") == ["golden unit G1: the station"]


def test_after_a_resumption_its_word_no_longer_counts() -> None:
    again = [SHARED, says("station"), event("resumed", ""), SHARED]
    assert judged(SETUP, OFF, events=again).verdict is Outcome.INCONCLUSIVE


def test_the_page_says_what_is_known_of_the_unit_before_the_run() -> None:
    begun = Attempt(unit="A1", job="j", station="s", number=2, most=3, failed_before=True, repaired="")
    mended = Attempt(unit="A1", job="j", station="s", number=1, most=3, failed_before=False, repaired="K1 changed")
    readings = [healthy(rung) for rung in SETUP.rungs]
    lifted = event(LIFTED, "calibration-due by N: waiver 7")
    notes = judged(SETUP, readings, events=[event(ATTEMPT, attempt_text(begun)), lifted]).notes
    assert notes[0].startswith("Attempt 2 of 3 without a repair, and one before it did not pass")
    assert notes[1] == "A lock was lifted for this run: calibration-due by N: waiver 7."
    notes = judged(SETUP, readings, events=[event(ATTEMPT, attempt_text(mended))]).notes
    assert notes[0] == "The unit was repaired before this run: K1 changed."
