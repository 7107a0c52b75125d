"""How far a simulated bench has got: faults begin at a record, not at a time."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(slots=True)
class Course:
    """Counts what has happened; every part of one bench has the same."""

    records: int = 0
    """Acquisitions begun, of whatever channel, since power on; those of the self-check too."""
    metered: bool = False
    """A reference meter is on the bench."""
    asleep_s: float = 0.0
    """Time that passed in the world and not on the computer's monotonic clock."""
