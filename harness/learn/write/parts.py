"""Pieces of a signal path and of a word, and what their controls are called."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from harness.learn.explain import Explained, Moves

CODE = "code"
"""Name of the control that holds the number."""
COVERED = 2.0
"""± in a note is so many standard uncertainties."""
UNSEEN = "unseen"
"""Name of the control for what no word shows."""
LN_PER_DB = math.log(10.0) / 20.0

Value = str | int | float | dict[str, float] | dict[str, list[str]] | dict[str, dict[str, float]] | list[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class StagePart:
    """One `[[stage]]` table."""

    keys: Mapping[str, Value]
    """Name, kind and parameters, in order."""
    sure: str
    """known, likely or guessed."""
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldPart:
    """Neighbouring bits of a word with one meaning."""

    bits: int
    control: str = ""
    """Empty for bits that never moved."""
    fill: int = 0
    least_first: bool = False
    note: str = ""


def digits(value: float) -> float:
    """A number as a file shows it.

    Args:
        value: any.
    Returns:
        the value with 7 digits.
    Source:
        none: presentation.
    """
    return float(f"{value:.7g}")


def state_name(index: int) -> str:
    """The name of a state that no word shows.

    Args:
        index: from 0.
    Returns:
        the name.
    Source:
        none: naming.
    """
    return f"state-{index}"


def outside_bits(explained: Explained) -> Mapping[int, str]:
    """The control of each moving bit that is no part of the number, by place.

    Args:
        explained: any.
    Returns:
        names such as bit-0; empty without words or without a law.
    Source:
        none: naming.
    """
    if explained.law is None or not explained.by_words:
        return {}
    code = explained.law.hypothesis.field
    moving = explained.movement.places(Moves.FINE, Moves.COARSE, Moves.BOTH)
    return {place: f"bit-{place}" for place in moving if place not in code.places}
