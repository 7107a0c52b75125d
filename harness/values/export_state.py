"""What of a run's results was handed on and what waits, as lines of its journal; the last one holds."""

from __future__ import annotations

import json
from dataclasses import dataclass

from harness.values.reading import Event

EXPORT = "export"
"""Kind of the line."""
COMMAND = "command"
"""In the place of a form of file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportState:
    """One line."""

    done: tuple[str, ...]
    """Forms of files, and `command`."""
    left: tuple[str, ...]
    tries: int
    """So far."""
    text: str
    """Why something is left; empty before the first try."""


def export_text(state: ExportState) -> str:
    """The line of a state.

    Args:
        state: of a run.
    Returns:
        the text of the event.
    """
    content = {"done": list(state.done), "left": list(state.left), "tries": state.tries, "text": state.text}
    return json.dumps(content, ensure_ascii=False)


def export_of(event: Event) -> ExportState | None:
    """The state that a line holds.

    Args:
        event: of kind `export`.
    Returns:
        the state; None when the line says something else.
    """
    try:
        said = json.loads(event.text)
        return ExportState(
            done=tuple(str(one) for one in said["done"]), left=tuple(str(one) for one in said["left"]),
            tries=int(said["tries"]), text=str(said["text"]),
        )  # fmt: skip
    except (ValueError, TypeError, KeyError):
        return None
