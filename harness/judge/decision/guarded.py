"""Rule `guarded`: the guard band that the limits file states."""

from __future__ import annotations

from harness.judge.decision.request import Request


def guarded(request: Request) -> float:
    """How wide a guard band is that the limits file fixes.

    Args:
        request: its guard counts, in the unit of the limits.
    Returns:
        w, same unit.
    Source:
        JCGM 106:2012, 8.3, guarded acceptance.
    """
    return request.guard
