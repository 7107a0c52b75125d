"""What people do on a line beside measuring, as lines of the journal: of a run, or of the station's book."""

from __future__ import annotations

import json
from dataclasses import dataclass

from harness.values.reading import Event

REFUSED = "refused"
"""Kind of the line: somebody was refused, by a lock or for want of a right."""
REMARK = "remark"
"""Somebody wrote something down."""
RELEASED = "released"
"""Files were released for the line."""
FIXTURE = "fixture-renewed"
"""The fixture was renewed: its cycles are counted anew."""
CONSTANTS = "constants"
"""Constants were written into a device."""
ACTIONS = (REFUSED, REMARK, RELEASED, FIXTURE, CONSTANTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One of them."""

    station: str
    who: str
    role: str
    """Empty where no file gives roles."""
    about: str
    """A unit, a run or a job."""
    text: str
    """What and why, for people."""
    files: tuple[str, ...] = ()
    """Hashes of the files that were released."""


def action_text(action: Action) -> str:
    """The line of an action.

    Args:
        action: what was done.
    Returns:
        the text of the event.
    """
    content = {
        "station": action.station, "who": action.who, "role": action.role, "about": action.about, "text": action.text,
        **({"files": list(action.files)} if action.files else {}),
    }  # fmt: skip
    return json.dumps(content, ensure_ascii=False)


def action_of(event: Event) -> Action | None:
    """The action that a line holds.

    Args:
        event: of one of the kinds in ACTIONS.
    Returns:
        the action; None when the line says something else.
    """
    try:
        said = json.loads(event.text)
        return Action(
            station=str(said["station"]), who=str(said["who"]), role=str(said["role"]), about=str(said["about"]),
            text=str(said["text"]), files=tuple(str(sha256) for sha256 in said.get("files", ())),
        )  # fmt: skip
    except (ValueError, TypeError, KeyError, AttributeError):
        return None
