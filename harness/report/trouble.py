"""Measurements that were taken again or could not be made, and why: from the journal of the run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.report.words import moment
from harness.values import Event

TROUBLE = ("retry", "invalid", "unmeasurable", "link", "safe-state", "station-fault", "shared-factor")
"""Kinds of journal lines that tell of a measurement that did not go as planned."""
MOST_LINES = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """What did not go as planned."""

    counts: tuple[tuple[str, int], ...]
    """Kind and number, in the order of TROUBLE."""
    lines: tuple[tuple[str, str, str], ...]
    """Time, kind and words, the first of all."""
    left: int


def trouble(events: Sequence[Event]) -> Trouble:
    """What did not go as planned in a run.

    Args:
        events: its journal.
    Returns:
        counts by kind and the first lines.
    """
    found = [event for event in events if event.kind in TROUBLE]
    kinds = [event.kind for event in found]
    return Trouble(
        counts=tuple((kind, kinds.count(kind)) for kind in TROUBLE if kind in kinds),
        lines=tuple((moment(event.at_utc), event.kind, event.text) for event in found[:MOST_LINES]),
        left=max(len(found) - MOST_LINES, 0),
    )
