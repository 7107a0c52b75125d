"""A run of a unit in production, counted, and how it ended: as lines of the journal."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from harness.values.judgement import Outcome
from harness.values.reading import Event

ATTEMPT = "attempt"
"""Kind of the line that begins it."""
LIFTED = "lifted"
"""Kind of the line that says which lock was lifted for the run, by whom and why."""
VERDICT = "verdict"
"""Kind of the line that ends it; a run that was gone on with has several, the last counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """The beginning."""

    unit: str
    job: str
    station: str
    number: int
    """Of the unit's runs by this job since it was repaired, from 1."""
    most: int
    """Runs that a unit may have."""
    failed_before: bool
    """A pass is a pass on retest."""
    repaired: str
    """What was done to the unit before this run; empty without a repair."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EndedAs:
    """The end."""

    outcome: Outcome
    place: str
    """The first failing item and where; empty without a failure."""


def attempt_text(attempt: Attempt) -> str:
    """The line that begins a run.

    Args:
        attempt: the run.
    Returns:
        the text of the event.
    """
    content = {
        "unit": attempt.unit, "job": attempt.job, "station": attempt.station, "number": attempt.number,
        "most": attempt.most, "failed_before": attempt.failed_before, "repaired": attempt.repaired,
    }  # fmt: skip
    return json.dumps(content, ensure_ascii=False)


NOT_REPAIRED = '"repaired": ""}'
"""How the line of an attempt ends that stands behind no repair."""


def says_repaired(text: str) -> bool:
    """Whether the line of an attempt says that the unit was repaired before it.

    Args:
        text: of the event.
    Returns:
        False also for a text that is no such line.
    """
    attempt = attempt_of((Event(at_utc="", at_s=0.0, kind=ATTEMPT, text=text),))
    return attempt is not None and bool(attempt.repaired)


def attempt_of(events: Sequence[Event]) -> Attempt | None:
    """The attempt that a journal, or a part of it, begins with.

    Args:
        events: a journal.
    Returns:
        the attempt; None for a run that is not counted.
    """
    for event in events:
        if event.kind == ATTEMPT:
            try:
                said = json.loads(event.text)
                return Attempt(
                    unit=str(said["unit"]), job=str(said["job"]), station=str(said["station"]),
                    number=int(said["number"]), most=int(said["most"]), failed_before=bool(said["failed_before"]),
                    repaired=str(said["repaired"]),
                )  # fmt: skip
            except (ValueError, TypeError, KeyError):
                return None
    return None


def ended_as_text(ended: EndedAs) -> str:
    """The line that ends a run.

    Args:
        ended: how.
    Returns:
        the text of the event.
    """
    return json.dumps({"outcome": str(ended.outcome), "place": ended.place}, ensure_ascii=False)


def ended_as_of(events: Sequence[Event]) -> EndedAs | None:
    """How a run ended.

    Args:
        events: a journal.
    Returns:
        what the last such line says; None without one.
    """
    for event in reversed(events):
        if event.kind == VERDICT:
            try:
                said = json.loads(event.text)
                return EndedAs(outcome=Outcome(said["outcome"]), place=str(said["place"]))
            except (ValueError, TypeError, KeyError):
                return None
    return None
