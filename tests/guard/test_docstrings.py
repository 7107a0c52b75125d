"""In pure rooms a docstring says what a function answers, takes, gives, raises, and on what ground."""

from __future__ import annotations

import pytest

from tests.guard.docstrings import docstring_faults
from tests.guard.sources import Source, pure_sources


def test_public_functions_of_pure_rooms_are_documented():
    assert [fault for source in pure_sources() for fault in docstring_faults(source)] == []


WHOLE = '''
def gain(drive_vpk: float, *, load_ohm: float) -> float:
    """What the gain is.

    Args:
        drive_vpk, load_ohm: level, V peak; load, Ω.
    Returns:
        ratio, > 0.
    Raises:
        MeasureError: the drive is zero, or
            something: else.
    Source:
        Ohm's law.
    """
    raise NotFinite("x")
'''


def faults_of(text, room="law"):
    return list(docstring_faults(Source(name=f"harness/{room}/made.py", room=room, text=text)))


def test_a_whole_docstring_passes():
    assert faults_of(WHOLE) == []


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("    Returns:\n        ratio, > 0.\n", "", "section `Returns:` is missing"),
        ("    Source:\n        Ohm's law.\n", "", "section `Source:` is missing"),
        ("    Args:\n        drive_vpk, load_ohm: level, V peak; load, Ω.\n", "", "section `Args:` is missing"),
        ("drive_vpk, load_ohm:", "drive_vpk:", "argument load_ohm is not under `Args:`"),
        ("MeasureError:", "StoreError:", "NotFinite is raised but not under `Raises:`"),
        ("MeasureError:", "BadThing:", "BadThing under `Raises:` is no error"),
        ("Returns:", "Yields:", "section `Yields:` is out of place; allowed: Args, Returns, Raises, Source"),
        ("What the gain is.", "Gain", "the first line is not a sentence"),
        ("    Source:\n        Ohm's law.\n    ", "    Args:\n        x: y\n    ", "order"),
    ],
)
def test_a_breach_is_seen(old, new, words):
    assert old in WHOLE
    text = WHOLE.replace(old, new)
    if words == "order":
        text = WHOLE.replace("Args:", "Q:").replace("Source:", "Args:").replace("Q:", "Source:")
    assert any(words in fault for fault in faults_of(text))


def test_a_missing_docstring_is_seen():
    assert faults_of("def f() -> None:\n    pass") == ["harness/law/made.py:1: f has no docstring"]


def test_private_functions_and_other_rooms_are_free():
    assert faults_of("def _f() -> None:\n    pass") == []
    assert faults_of('def f() -> None:\n    """Says nothing."""\n', room="report") == []
