"""Distances between edges, gathered piece by piece: count, smallest, mean, histogram, limit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from harness.bus.piece import Ticks
from harness.values import BusDistance, BusTiming

Counts = npt.NDArray[np.int64]

FINEST_CLASSES = 4096
"""Distances below this many ticks have a class of their own; longer ones share classes a factor of two wide."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TimingLimits:
    """The least distances, ns, and the fastest clock, Hz; None where the device file says nothing."""

    setup_ns: float | None = None
    hold_ns: float | None = None
    clock_high_ns: float | None = None
    clock_low_ns: float | None = None
    latch_ns: float | None = None
    clock_to_latch_ns: float | None = None
    latch_to_clock_ns: float | None = None
    clock_hz: float | None = None

    def by_name(self) -> dict[str, float | None]:
        """The least distance by the name of the distance, ns.

        Returns:
            one entry for each distance.
        Source:
            none: the same content.
        """
        return {
            "setup": self.setup_ns,
            "hold": self.hold_ns,
            "clock-high": self.clock_high_ns,
            "clock-low": self.clock_low_ns,
            "clock-period": None if self.clock_hz is None else 1e9 / self.clock_hz,
            "latch-width": self.latch_ns,
            "clock-to-latch": self.clock_to_latch_ns,
            "latch-to-clock": self.latch_to_clock_ns,
        }


@dataclass(slots=True)
class Meter:
    """One distance so far."""

    name: str
    tick_ns: float
    limit_ns: float | None
    keeps_histogram: bool = False
    count: int = 0
    total: int = 0
    smallest: int = -1
    smallest_at: int = 0
    violations: int = 0
    _fine: Counts = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    _coarse: Counts = field(default_factory=lambda: np.zeros(64, dtype=np.int64))

    def add(self, distances: Ticks, later: Ticks) -> None:
        """Take some more.

        Args:
            distances: shape (n,), ticks, >= 0.
            later: shape (n,), the later edge of each, ticks.
        Source:
            none: bookkeeping.
        """
        if distances.size == 0:
            return
        least = int(distances.min())
        if self.smallest < 0 or least < self.smallest:
            self.smallest, self.smallest_at = least, int(later[distances.argmin()])
        self.count += distances.size
        self.total += int(distances.sum())
        # A distance of whole ticks keeps a limit that is a whole number of ticks: half a thousandth absorbs rounding.
        if self.limit_ns is not None and least * self.tick_ns < self.limit_ns * (1 - 1e-9):
            self.violations += int(np.count_nonzero(distances * self.tick_ns < self.limit_ns * (1 - 1e-9)))
        if self.keeps_histogram:
            self._classify(distances)

    def merge(self, other: Meter) -> bool:
        """Take all that another meter of the same distance and tick has seen.

        Args:
            other: of another capture.
        Returns:
            whether the smallest is the other's.
        Source:
            none: bookkeeping.
        """
        smaller = other.count > 0 and (self.smallest < 0 or other.smallest < self.smallest)
        if smaller:
            self.smallest, self.smallest_at = other.smallest, other.smallest_at
        self.count += other.count
        self.total += other.total
        self.violations += other.violations
        if self.keeps_histogram:
            short, long = sorted((self._fine, other._fine), key=len)
            self._fine = long.copy()
            self._fine[: short.size] += short
            self._coarse = self._coarse + other._coarse
        return smaller

    def _classify(self, distances: Ticks) -> None:
        far = distances >= FINEST_CLASSES
        if far.any():
            self._coarse += np.bincount(np.log2(distances[far]).astype(np.int64), minlength=64)
            distances = distances[~far]
        counts = np.bincount(distances, minlength=self._fine.size)
        counts[: self._fine.size] += self._fine
        self._fine = counts.astype(np.int64, copy=False)

    def result(self) -> BusDistance:
        """What was seen.

        Returns:
            the distance; its histogram holds whole classes below 4096 ticks and classes by factors of two above.
        Source:
            none: bookkeeping.
        """
        fine = ((k * self.tick_ns, int(self._fine[k])) for k in self._fine.nonzero()[0].tolist())
        coarse = ((2.0**k * self.tick_ns, int(self._coarse[k])) for k in self._coarse.nonzero()[0].tolist())
        return BusDistance(
            name=self.name,
            count=self.count,
            minimum_ns=self.smallest * self.tick_ns if self.count else None,
            mean_ns=self.total * self.tick_ns / self.count if self.count else None,
            minimum_at_ns=round(self.smallest_at * self.tick_ns) if self.count else None,
            limit_ns=self.limit_ns,
            violations=self.violations,
            histogram=(*fine, *coarse),
        )


def timing_of(
    distances: tuple[BusDistance, ...],
    *,
    glitches: Mapping[str, int],
    edges: Mapping[str, int],
    tick_ns: float,
    sound: int,
    unsound: int,
) -> BusTiming:
    """Distances and counts as one record.

    Args:
        distances: all of them, the clock's period among them.
        glitches: pulses that were too short, by line.
        edges: changes that last, by line.
        tick_ns: resolution of the times.
        sound: frames that hold a word.
        unsound: other frames.
    Returns:
        the timing; the period becomes the fastest clock.
    Source:
        see error_bound_ratio.
    """
    period = next(distance for distance in distances if distance.name == "clock-period")
    return BusTiming(
        distances=tuple(distance for distance in distances if distance is not period),
        clock_hz=1e9 / period.minimum_ns if period.minimum_ns else None,
        clock_limit_hz=1e9 / period.limit_ns if period.limit_ns else None,
        clock_violations=period.violations,
        glitches=tuple(glitches.items()),
        edges=tuple(edges.items()),
        resolution_ns=tick_ns,
        sound_words=sound,
        error_bound_ratio=error_bound_ratio(sound + unsound, unsound),
    )


def error_bound_ratio(frames: int, wrong: int = 0) -> float | None:
    """How large the share of wrong frames may be, at 95 % confidence.

    Args:
        frames: frames seen, >= 0.
        wrong: how many of them were wrong, >= 0.
    Returns:
        3/n without a wrong frame, at most 1; else the upper bound of a Poisson count, to 1 %; None without frames.
    Source:
        rule of three: (1 - p)^n = 0.05 gives p = 2.996/n; Wilson and Hilferty's cube-root approximation of the gamma
        quantile, held against the exact one in tests/bus/test_bus_timing.py.
    """
    if frames <= 0:
        return None
    if wrong == 0:
        return min(1.0, 3.0 / frames)
    shape = wrong + 1.0
    return min(1.0, shape * (1.0 - 1.0 / (9.0 * shape) + 1.645 / (3.0 * math.sqrt(shape))) ** 3 / frames)
