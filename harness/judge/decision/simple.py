"""Rule `simple`: the reading against the limit, nothing else."""

from __future__ import annotations

from harness.judge.decision.request import Request


def simple(request: Request) -> float:
    """How wide the guard band of simple acceptance is.

    Args:
        request: any.
    Returns:
        0: an item read at the limit is bad with up to 50 %.
    Source:
        ILAC-G8:09/2019, binary statement for simple acceptance; JCGM 106:2012, 8.2.
    """
    return 0.0
