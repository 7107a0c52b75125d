"""One entry of the dictionary: a fault of some size at some place, and what it would do to a channel."""

from __future__ import annotations

from dataclasses import dataclass

from harness.diagnosis.view import Floats, Integers


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hypothesis:
    """What one fault would do to every reading of a channel."""

    fault: str
    """Name in the catalogue."""
    what: str
    """Which one, such as `bit 4` or `relay K1`; empty where there is nothing to choose."""
    pattern_percent: Floats
    """100·ln(G/L) of every visit, of the size 1 where the size is free, shape (n,)."""
    sized: bool = False
    """Whether the size is fitted."""
    loose_ratio: float = 0.0
    """How exactly each reading of a sized pattern is known, standard uncertainty over the size."""
    by_code: bool = False
    """Whether the gain comes from another code than planned."""
    latched: Integers | None = None
    """Words on the bus, where they are wrong there; None: right."""
    free: int = 0
    """Further numbers taken from the readings; each costs as much as a size."""
    explains: frozenset[str] = frozenset()
    """Items of claims, beside gain and word, that the fault makes fail."""
    needs: frozenset[str] = frozenset()
    """Items of which one must have failed: without a pattern nothing else speaks for the fault."""
    everywhere: bool = False
    """Whether it sits where all channels share it: one sound channel excludes it."""
    prior: float = 0.0
    """Added to the distance: rare among the faults of the same pattern."""
    unit: str = ""
    """Of the size, where it is free: `percent`; empty for none."""

    @property
    def key(self) -> tuple[str, str]:
        """The same fault at the same place in another channel has the same."""
        return self.fault, self.what
