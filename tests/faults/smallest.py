"""The smallest size of a fault that a ladder finds, to a factor of the square root of two."""

from __future__ import annotations

import math
from collections.abc import Callable

from harness.simulated import SIZES
from harness.simulated.fault_entry import FaultEntry
from tests.faults.detection import ladder_of, placed, seen, tried
from tests.faults.sizes_elsewhere import sizes_of

STEPS = range(-8, 9)
"""Halves of an octave around the size at the threshold: from a sixteenth of it to sixteen times as much."""
DECIBEL = ("F41", "F42", "F46")
"""Sizes in dB."""
FACTOR = ("F30", "F40")
"""Sizes that are factors: what counts is how far they are from 1."""
INVERSE = ("T1", "T2", "T6")
"""Sizes that do less the larger they are: a load on the cable, a wait."""
SECOND_FIXED = ("F31",)
"""Faults whose second number is a place."""


def size_at(entry: FaultEntry, half_octaves: int, *, ladder: str = "skerry-hr-4") -> str:
    """The size at the threshold of a ladder, times the square root of two so many times."""
    text = sizes_of(entry, ladder).at or ""
    first, *rest = [float(number) for number in text[1:].split(",")]
    times = 2.0 ** (half_octaves / 2.0)
    if entry.id in DECIBEL:
        numbers = [first + 20.0 * math.log10(times)]
    elif entry.id in FACTOR:
        numbers = [1.0 + (first - 1.0) * times]
    elif entry.id in INVERSE:
        numbers = [first / times]
    else:
        numbers = [first * times, *(number if entry.id in SECOND_FIXED else number * times for number in rest)]
    return ",".join(f"{number:.3g}" for number in numbers)


def has_scale(entry: FaultEntry) -> bool:
    """Whether a fault has a size with a threshold that can be scaled."""
    sizes = SIZES[entry.id]
    return sizes.kind == "E" and bool(sizes.at) and entry.kind in ("product", "station") and not entry.needs


def least_step(found: Callable[[int], bool]) -> int | None:
    """The least step at which something is found, by bisection; None where it is not found at the highest."""
    low, high = STEPS.start - 1, STEPS.stop
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if found(middle) else (middle, high)
    return high if high < STEPS.stop else None


def smallest(entry: FaultEntry, device: str, *, seed: int) -> str:
    """The smallest size found with one unit, and how many times the threshold that is; empty where none is."""
    ladder = ladder_of(entry, device)

    def found(step: int) -> bool:
        injected = f"{placed(entry, ladder)}={size_at(entry, step, ladder=ladder)}"
        return seen(entry, tried(ladder, injected, seed=seed))

    step = least_step(found)
    return "" if step is None else f"{size_at(entry, step, ladder=ladder)} ({2.0 ** (step / 2.0):.2g} of its threshold)"
