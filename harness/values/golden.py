"""A golden unit on a station: what was measured, how it came out, and what that says; as lines of the journal."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass

from harness.values.judgement import Outcome
from harness.values.reading import Event

GOLDEN_UNIT = "golden-unit"
"""Kind of the line that begins a run of a golden unit."""
GOLDEN_CHECK = "golden-check"
"""Kind of the line that says how it came out."""
GOLDEN_SAYS = "golden-says"
"""Kind of the line, in a run of any unit, by which a golden check tells station from unit."""
UNIT, STATION = "unit", "station"


@dataclass(frozen=True, slots=True, kw_only=True)
class GoldenNumber:
    """One number that is charted."""

    name: str
    """Such as `ln K` or `factor 20V`; means over the channels."""
    percent: float
    """100·ln of measured over nominal or predicted; of noise over one code step."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GoldenLook:
    """One check."""

    unit: str
    station: str
    job: str
    outcome: Outcome
    """INCONCLUSIVE while the reference is being built."""
    reference: bool
    """Whether it is one of those that build the reference."""
    restart: str
    """Why earlier checks no longer count; empty where they do."""
    common_percent: float
    """What all ranges share, against the reference; while it is built, against the law."""
    numbers: tuple[GoldenNumber, ...]
    """Empty where the run was INVALID."""
    run_id: str = ""
    """Not in the line: the run that holds it."""
    at_utc: str = ""
    """Of the line."""


def golden_text(look: GoldenLook) -> str:
    """The line of a check.

    Args:
        look: the check, its numbers finite.
    Returns:
        the text of the event.
    """
    head = {"unit": look.unit, "station": look.station, "job": look.job, "outcome": str(look.outcome)}
    tail = {"reference": look.reference, "restart": look.restart, "common_percent": look.common_percent}
    numbers = {number.name: number.percent for number in look.numbers}
    return json.dumps({**head, **tail, "numbers": numbers}, ensure_ascii=False, allow_nan=False)


def golden_of(run_id: str, event: Event) -> GoldenLook | None:
    """The check that a line holds.

    Args:
        run_id: the run that the line stands in.
        event: of kind `golden-check`.
    Returns:
        the check; None when the line says something else.
    """
    try:
        said = json.loads(event.text)
        numbers = tuple(GoldenNumber(name=str(name), percent=float(x)) for name, x in said["numbers"].items())
        look = GoldenLook(
            unit=str(said["unit"]),
            station=str(said["station"]),
            job=str(said["job"]),
            outcome=Outcome(said["outcome"]),
            reference=bool(said["reference"]),
            restart=str(said["restart"]),
            common_percent=float(said["common_percent"]),
            numbers=numbers,
            run_id=run_id,
            at_utc=event.at_utc,
        )
    except (ValueError, TypeError, KeyError, AttributeError):
        return None
    finite = all(math.isfinite(number.percent) for number in numbers) and math.isfinite(look.common_percent)
    return look if finite else None


def golden_says_text(whose: str, why: str) -> str:
    """The line by which a golden check decides about a factor that all channels share.

    Args:
        whose: `unit` or `station`.
        why: for people.
    Returns:
        the text of the event.
    """
    return f"{whose}: {why}"


def golden_says_of(events: Sequence[Event]) -> tuple[str, str] | None:
    """What a golden check decided about a shared factor.

    Args:
        events: a journal.
    Returns:
        `unit` or `station`, and why; None without such a line.
    """
    for event in reversed(events):
        if event.kind == GOLDEN_SAYS:
            whose, _, why = event.text.partition(": ")
            return (whose, why) if whose in (UNIT, STATION) else None
    return None
