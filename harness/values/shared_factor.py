"""A factor that all channels share and that may be the station's or the unit's, as a line of the journal."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.values.reading import Event

SHARED_FACTOR = "shared-factor"
"""Kind of the journal's line."""
_MARK = "×"


def shared_factor_text(ratio: float, why: str) -> str:
    """The line for a factor.

    Args:
        ratio: measured over predicted, > 0.
        why: what is known of it, for people.
    Returns:
        the text of the event.
    """
    return f"{_MARK}{ratio:.6g}: {why}"


def shared_factor_of(events: Sequence[Event]) -> float | None:
    """The factor that the last line of that kind holds.

    Args:
        events: a journal.
    Returns:
        measured over predicted; None without such a line, or when it says something else.
    """
    for event in reversed(events):
        if event.kind == SHARED_FACTOR:
            head = event.text.removeprefix(_MARK).split(":", 1)[0]
            try:
                ratio = float(head)
            except ValueError:
                return None
            return ratio if math.isfinite(ratio) and ratio > 0.0 else None
    return None
