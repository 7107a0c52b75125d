"""A short, repeatable piece of `python -m tests.fuzz_decode`; the long run is for a change of the readers."""

from __future__ import annotations

from tests.fuzz_decode import EXPECTED, fuzz


def test_damaged_captures_never_end_in_a_traceback():
    codes, wrong = fuzz(60.0, seed=11, most=300)
    assert wrong == []
    assert sum(codes.values()) == 300
    assert set(codes) <= EXPECTED
