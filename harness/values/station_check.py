"""A station that has looked at itself: its parts, and the line of the journal that holds them."""

from __future__ import annotations

import json
from dataclasses import dataclass

from harness.values.judgement import Outcome
from harness.values.reading import Event

STATION_CHECK = "station-check"
"""Kind of the line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StationPart:
    """One part."""

    name: str
    outcome: Outcome | None
    """None: it could not be made here; the text says why."""
    text: str
    """What was got, what is allowed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StationCheck:
    """All of them."""

    station: str
    unit: str
    """The good unit that was connected."""
    outcome: Outcome
    parts: tuple[StationPart, ...]


def station_check_text(check: StationCheck) -> str:
    """The line of a check.

    Args:
        check: what was found.
    Returns:
        the text of the event.
    """
    parts = [
        {"name": part.name, "outcome": None if part.outcome is None else str(part.outcome), "text": part.text}
        for part in check.parts
    ]
    content = {"station": check.station, "unit": check.unit, "outcome": str(check.outcome), "parts": parts}
    return json.dumps(content, ensure_ascii=False)


def station_check_of(event: Event) -> StationCheck | None:
    """The check that a line holds.

    Args:
        event: of kind `station-check`.
    Returns:
        the check; None when the line says something else.
    """
    try:
        said = json.loads(event.text)
        parts = tuple(
            StationPart(
                name=str(part["name"]), text=str(part["text"]),
                outcome=None if part["outcome"] is None else Outcome(part["outcome"]),
            )
            for part in said["parts"]
        )  # fmt: skip
        return StationCheck(
            station=str(said["station"]), unit=str(said["unit"]), outcome=Outcome(said["outcome"]), parts=parts
        )
    except (ValueError, TypeError, KeyError, AttributeError):
        return None
