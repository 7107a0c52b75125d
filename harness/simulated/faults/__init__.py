"""The catalogue of faults that the simulated bench can have; one small class each, one module for each family."""

from __future__ import annotations

from typing import Final

from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.faults import (
    analog,
    blocks,
    coarse,
    control_lines,
    control_words,
    digital,
    fine,
    host,
    instruments,
    latches,
    noise,
    replies,
    station,
)

_FAMILIES = (
    control_words,
    control_lines,
    latches,
    coarse,
    fine,
    analog,
    noise,
    digital,
    station,
    replies,
    blocks,
    instruments,
    host,
)
_GROUPS = "FTI"


def _order(fault: type[Fault]) -> tuple[int, int]:
    """F01 ... F57, T1 ... T12, I01 ... I28."""
    return _GROUPS.index(fault.entry.id[0]), int(fault.entry.id[1:])


FAULTS: Final[tuple[type[Fault], ...]] = tuple(
    sorted((fault for family in _FAMILIES for fault in family.FAULTS), key=_order)
)


def catalogue() -> tuple[FaultEntry, ...]:
    """Every fault the simulated bench can have, in the order of their ids."""
    return tuple(fault.entry for fault in FAULTS)
