"""Which few further points would help most: each time the one that takes most off the worst error left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.judge.calibration.left import Between, remainder

Floats = npt.NDArray[np.float64]
WORTH_PERCENT = 1e-6
"""A point that takes less off is not worth a visit."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """The errors of one range before any correction; the array is made read-only."""

    coarse: int
    fines: tuple[int, ...]
    """Fine positions, rising, n of them."""
    errors_percent: Floats
    """Shape (n, k): a column for each channel, or for each tolerance."""
    joint: bool
    """Whether columns add as root sum of squares, as tolerances do; else the worst column counts."""
    first: int
    """Row that is corrected already."""
    floor_percent: float = 0.0
    """Errors up to this are not told from nothing."""

    def __post_init__(self) -> None:
        self.errors_percent.setflags(write=False)

    def worst(self, known: Sequence[int]) -> tuple[float, Between]:
        """Largest error left with these rows corrected, percent, and the better way between them."""
        return min((self._worst_percent(sorted(known), between), between) for between in (Between.LINEAR, Between.HELD))

    def _worst_percent(self, known: Sequence[int], between: Between) -> float:
        left = remainder(self.errors_percent, self.fines, known, between)
        if left.shape[1] == 0:
            return 0.0
        sizes = np.sqrt(np.sum(left**2, axis=1)) if self.joint else np.max(np.abs(left), axis=1)
        return float(np.max(sizes))


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtraPoint:
    """A further calibration point."""

    coarse: int
    fine: int
    before_percent: float
    """Worst error left in its range without it, all points before it taken."""
    after_percent: float
    """With it."""
    between: Between
    """The better way to correct between the calibrated positions of the range, this one included."""


def extra_points(sheets: Sequence[Sheet], *, most: int) -> tuple[ExtraPoint, ...]:
    """Which further fine positions would help most, the most helpful first.

    Args:
        sheets: one for each range.
        most: points wanted.
    Returns:
        at most so many; fewer where no point takes anything off, or where what is left is not told from nothing.
        Each is the best of all fine positions of the range whose error is then the worst.
    Source:
        greedy choice, common practice, no source; compared with every choice of one point in tests/judge_calibration/.
    """
    known = {sheet.coarse: [sheet.first] for sheet in sheets}
    worst = {sheet.coarse: sheet.worst((sheet.first,))[0] for sheet in sheets}
    open_sheets = {sheet.coarse: sheet for sheet in sheets}
    found: list[ExtraPoint] = []
    while len(found) < most and open_sheets:
        coarse = max(open_sheets, key=lambda item: worst[item])
        sheet, before = open_sheets[coarse], worst[coarse]
        free = [row for row in range(len(sheet.fines)) if row not in known[coarse]]
        tried = [(sheet.worst([*known[coarse], row]), row) for row in free]
        (after, between), row = min(tried, default=((before, Between.LINEAR), -1))
        if before <= sheet.floor_percent or before - after <= WORTH_PERCENT:
            del open_sheets[coarse]
            continue
        found.append(
            ExtraPoint(
                coarse=coarse,
                fine=sheet.fines[row],
                before_percent=before,
                after_percent=after,
                between=between,
            )
        )
        known[coarse].append(row)
        worst[coarse] = after
    return tuple(found)
