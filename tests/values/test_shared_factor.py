"""The line of the journal for a factor that all channels share."""

from __future__ import annotations

import pytest

from harness.values import SHARED_FACTOR, Event, shared_factor_of, shared_factor_text


def event(text: str, kind: str = SHARED_FACTOR) -> Event:
    return Event(at_utc="", at_s=0.0, kind=kind, text=text)


@pytest.mark.parametrize("ratio", [0.5, 0.944061, 1.2, 1e-3, 123456.0])
def test_what_is_written_is_read(ratio: float) -> None:
    assert shared_factor_of([event(shared_factor_text(ratio, "why: because"))]) == ratio


@pytest.mark.parametrize("text", ["", "×nan: x", "×-1: x", "×0: x", "×inf: x", "nobody knows"])
def test_what_is_no_factor_is_none(text: str) -> None:
    assert shared_factor_of([event(text)]) is None


def test_the_last_line_counts_and_other_kinds_do_not() -> None:
    lines = [event("×0.9: a"), event("×0.8: b"), event("×0.7: c", "note")]
    assert shared_factor_of(lines) == 0.8
    assert shared_factor_of(lines[2:]) is None
    assert shared_factor_of([]) is None
