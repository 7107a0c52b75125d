"""A run that was resumed: anchors decide nothing, and a reading that had no bench gives way to the one taken again."""

from __future__ import annotations

import dataclasses

from harness.values import Event, Outcome, Purpose, ReadingStatus
from tests.judge.run_builder import healthy, judged, outcomes, reading_of, setup_at

SETUP = setup_at((1, 3, 0), (1, 3, 10))
LOST = {"status": ReadingStatus.INVALID, "reason": "LinkLost: gone", "waveform": None}


def event(kind: str, text: str = "") -> Event:
    return Event(at_utc="2026-01-01T00:00:00+00:00", at_s=1.0, kind=kind, text=text)


def test_an_anchor_decides_nothing_and_is_no_attempt() -> None:
    readings = [healthy(rung) for rung in SETUP.rungs]
    wrong = reading_of(SETUP.rungs[0], gain_ratio=1.5, purpose=Purpose.ANCHOR, index=9)
    assert judged(SETUP, [*readings, wrong]) == judged(SETUP, readings)


def test_a_reading_taken_again_replaces_the_one_that_had_no_bench() -> None:
    first, *others = [healthy(rung) for rung in SETUP.rungs]
    lost = dataclasses.replace(first, **LOST)
    assert judged(SETUP, [lost, *others]).verdict is Outcome.INVALID
    again = judged(SETUP, [lost, *others, first])
    assert again.verdict is Outcome.PASS
    assert again.settings[0].attempts == 3


def test_only_the_same_direction_and_only_a_missing_bench_are_replaced() -> None:
    first, *others = [healthy(rung) for rung in SETUP.rungs]
    lost = dataclasses.replace(first, **LOST)
    down = next(reading for reading in others if reading.setting == first.setting)
    assert judged(SETUP, [lost, *others, down]).verdict is Outcome.INVALID
    stale = dataclasses.replace(lost, reason="stale-record: the counter stood still")
    assert judged(SETUP, [stale, *others, first]).verdict is Outcome.INVALID


def test_a_station_fault_counts_until_the_run_is_resumed() -> None:
    readings = [healthy(rung) for rung in SETUP.rungs]
    fault = event("station-fault", "source-load-mis-set: all off")
    assert "station" in {j.item for j in judged(SETUP, readings, events=(fault,)).judgements}
    mended = judged(SETUP, readings, events=(fault, event("resumed")))
    assert outcomes(mended, "station") == {}
    assert mended.verdict is Outcome.PASS
    assert mended.candidates == ()


def test_a_discontinuity_is_on_the_first_screen() -> None:
    readings = [healthy(rung) for rung in SETUP.rungs]
    text = "ch1 2V 100 %: +1.2 % since reading 3; within 0.1 % is no change"
    result = judged(SETUP, readings, events=(event("discontinuity", text),))
    assert any(text in note and "before and after" in note for note in result.notes)
    assert result.verdict is Outcome.PASS
