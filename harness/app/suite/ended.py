"""What a session's run came to, at its end."""

from __future__ import annotations

from dataclasses import dataclass

from harness.values import RunHeader, RunResult


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """A session's run, at its end."""

    header: RunHeader
    result: RunResult
    """Of all ranges that were swept."""
    swept: int
    """Ranges."""
    planned: int
    differences: tuple[str, ...]
    """Rows of the session that are not what the record says."""
