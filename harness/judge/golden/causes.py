"""What moved a golden unit off its history."""

from __future__ import annotations

from typing import Final

from harness.judge.golden.check import GoldenCheck
from harness.judge.golden.numbers import FACTOR

LEVEL: Final = ("reference-meter-drifted", "pad-wrong", "terminator-wrong", "source-load-mis-set")
"""What moves the level at every setting alike, the likeliest first."""
ALIKE_RATIO = 0.25
"""Of what all ranges moved by: farther apart they did not move alike."""


def golden_causes(check: GoldenCheck) -> tuple[str, ...]:
    """Which faults of the station would move all ranges of a golden unit by one factor.

    Args:
        check: of the unit against its history.
    Returns:
        names of the catalogue, the likeliest first; none for a sound check, and where ranges moved apart.
    Source:
        fault dictionary: T1 to T3 and T11 are one factor on everything, and a sound unit shows them as well.
    """
    if not any(row.name.startswith(FACTOR) for row in check.outside):
        return ()
    moved = [row.value - row.target for row in check.rows if row.name.startswith(FACTOR)]
    mean = sum(moved) / len(moved)
    return LEVEL if max(moved) - min(moved) <= ALIKE_RATIO * abs(mean) else ()
