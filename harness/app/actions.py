"""Who did what, from the journals of all runs and the books of stations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from harness.store import Store, noted
from harness.values import ACTIONS, ATTEMPT, GOLDEN_CHECK, LIFTED, Event, action_of, attempt_of, golden_of

REPAIRED, NEW_REFERENCE = "repaired", "new-reference"


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """One line."""

    at_utc: str
    kind: str
    who: str
    about: str
    text: str
    run_id: str
    """The run or book that it stands in."""

    @property
    def content(self) -> dict[str, Any]:
        """For `--json`."""
        return {
            "at_utc": self.at_utc, "kind": self.kind, "who": self.who, "about": self.about, "text": self.text,
            "run": self.run_id,
        }  # fmt: skip

    def __str__(self) -> str:
        return f"{self.at_utc[:19]}Z  {self.kind:<15} {self.who:<24} {self.about:<16} {self.text}"


def actions_of(store: Store) -> tuple[Done, ...]:
    """All of a store, in order of writing."""
    # Names and units of the runs that such a line stands in, looked up only for those.
    heads: dict[str, tuple[str, str]] = {}

    def head(run_id: str) -> tuple[str, str]:
        if run_id not in heads:
            header = store.header(run_id)
            heads[run_id] = header.operator, header.unit
        return heads[run_id]

    found = []
    for run_id, event in noted(store, *ACTIONS, LIFTED, ATTEMPT, GOLDEN_CHECK):
        told = _told(run_id, event)
        if told is None:
            continue
        kind, who, about, text = told
        if not who:
            who, unit = head(run_id)
            about = about or unit
        found.append(Done(at_utc=event.at_utc, kind=kind, who=who, about=about, text=text, run_id=run_id))
    return tuple(found)


def _told(run_id: str, event: Event) -> tuple[str, str, str, str] | None:
    """Kind, who, about and text; empty who: the run's operator. None for a line that says of no action."""
    if event.kind == LIFTED:
        return LIFTED, "", "", event.text
    if event.kind == ATTEMPT:
        attempt = attempt_of((event,))
        return (REPAIRED, "", attempt.unit, attempt.repaired) if attempt is not None and attempt.repaired else None
    if event.kind == GOLDEN_CHECK:
        look = golden_of(run_id, event)
        return (NEW_REFERENCE, "", look.unit, look.restart) if look is not None and look.restart else None
    action = action_of(event)
    if action is None:
        return None
    who = f"{action.who} ({action.role})" if action.role else action.who
    return event.kind, who, action.about, action.text
