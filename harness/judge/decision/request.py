"""What a decision rule is asked."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from harness.errors import NotFinite


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """Limits and uncertainty of one item, all in one unit, that of the limits file (percent of gain for a gain)."""

    expanded: float
    """Expanded uncertainty U, k = 2, >= 0."""
    low: float | None
    high: float | None
    """At least one of the two; low < high."""
    guard: float = 0.0
    """Guard band w that the limits file fixes; rule `guarded` only."""
    share_ratio: float = 1.0
    """r of w = r·U; rule `guard-band` only."""

    def __post_init__(self) -> None:
        sizes = (("expanded", self.expanded), ("guard", self.guard), ("share_ratio", self.share_ratio))
        for name, value in sizes:
            if not 0.0 <= value < math.inf:
                raise NotFinite(f"decision: {name} is {value!r}; allowed is a finite number >= 0")
        edges = [edge for edge in (self.low, self.high) if edge is not None]
        if not edges or not all(math.isfinite(edge) for edge in edges) or edges != sorted(set(edges)):
            raise NotFinite(
                f"decision: limits are {self.low!r} and {self.high!r}; allowed is one finite limit, or low < high"
            )

    @property
    def tur_ratio(self) -> float | None:
        """Half the distance of the limits over U; None where there is only one limit, infinity for U = 0."""
        if self.low is None or self.high is None:
            return None
        half_width = (self.high - self.low) / 2.0
        return half_width / self.expanded if self.expanded > 0.0 else math.inf


Rule = Callable[[Request], float]
"""The guard band w >= 0 of a request."""
