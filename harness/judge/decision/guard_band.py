"""Rule `guard-band`: w = r·U."""

from __future__ import annotations

from harness.judge.decision.request import Request


def guard_band(request: Request) -> float:
    """How wide a guard band is that follows the uncertainty.

    Args:
        request: its expanded uncertainty and share_ratio count, in the unit of the limits.
    Returns:
        w = r·U, same unit; r = 1 holds the risk of an accepted item below 2.5 %.
    Source:
        ILAC-G8:09/2019; JCGM 106:2012, 8.3.2.
    """
    return request.share_ratio * request.expanded
