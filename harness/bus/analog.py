"""Voltages of the lines to logic: comparators with hysteresis, and what the levels were."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from harness.bus.piece import Piece, Ticks
from harness.bus.thresholds import Thresholds, Volts
from harness.values import LineLevels

Marks = npt.NDArray[np.bool_]


class Comparator:
    """All lines against one pair of thresholds: high above the upper, low below the lower, else as before."""

    def __init__(self, low_v: float, high_v: float) -> None:
        self.low_v, self.high_v = low_v, high_v
        self.initial: int | None = None
        """Levels at the first sample; None before it."""
        self._volts: Volts | None = None
        self._time_ns = 0
        self._high: Marks = np.zeros(0, dtype=np.bool_)

    def take(self, times_ns: Ticks, volts: Volts) -> tuple[Piece, Marks]:
        """The events of some more samples, each at the time at which the straight line between samples crosses.

        Args:
            times_ns: shape (n,), ns, never decreasing, n >= 1.
            volts: shape (n, k), V, finite, k <= 8.
        Returns:
            the events, a tick is 1 ns; and the levels of the samples, shape (n, k).
        Source:
            common practice, no source: linear interpolation at the threshold.
        """
        if self._volts is None:
            middle_v = 0.5 * (self.low_v + self.high_v)
            self._high = volts[0] > middle_v
            self.initial = _packed(self._high)
            self._volts, self._time_ns = volts[0], int(times_ns[0])
        states: Marks = np.empty(volts.shape, dtype=np.bool_)
        ticks, bits = [], []
        joined_ns = np.append(self._time_ns, times_ns)
        for k in range(volts.shape[1]):
            column = volts[:, k]
            sure = np.where(column > self.high_v, 1, np.where(column < self.low_v, 0, -1))
            newest = np.maximum.accumulate(np.where(sure >= 0, np.arange(sure.size), -1))
            states[:, k] = np.where(newest >= 0, sure[newest] == 1, self._high[k])
            change = (states[:, k] != np.append(self._high[k], states[:-1, k])).nonzero()[0]
            crossed_v = np.where(states[change, k], self.high_v, self.low_v)
            before_v = np.append(self._volts[k], column)[change]
            share = np.clip((crossed_v - before_v) / (column[change] - before_v), 0.0, 1.0)
            gap_ns = joined_ns[change + 1] - joined_ns[change]
            ticks.append(joined_ns[change] + np.rint(share * gap_ns).astype(np.int64))
            bits.append(np.full(change.size, 1 << k, dtype=np.uint8))
        before = np.uint8(_packed(self._high))
        all_ticks, all_bits = np.concatenate(ticks), np.concatenate(bits)
        order = all_ticks.argsort(kind="stable")
        levels = np.bitwise_xor.accumulate(np.append(before, all_bits[order]))[1:]
        self._high, self._volts, self._time_ns = states[-1].copy(), volts[-1].copy(), int(times_ns[-1])
        return Piece(ticks=all_ticks[order], levels=levels, known_to=self._time_ns), states


def _packed(high: Marks) -> int:
    return sum(1 << k for k, level in enumerate(high.tolist()) if level)


def comparators(thresholds: Thresholds) -> tuple[Comparator, Comparator, Comparator]:
    """The comparator that decides, and one at each threshold to see whether the decision hangs on it.

    Args:
        thresholds: of the receiver.
    Returns:
        between V_IL and V_IH; around V_IL; around V_IH. The latter two have a quarter of the undefined band as
        hysteresis to each side, which is a tenth of the swing for 30/70 %.
    Source:
        common practice, no source.
    """
    band_v = 0.25 * (thresholds.v_ih_v - thresholds.v_il_v)
    return (
        Comparator(thresholds.v_il_v, thresholds.v_ih_v),
        Comparator(thresholds.v_il_v - band_v, thresholds.v_il_v + band_v),
        Comparator(thresholds.v_ih_v - band_v, thresholds.v_ih_v + band_v),
    )


class LevelMeter:
    """What the voltages of each line were while it stood high and low, away from its edges."""

    def __init__(self, lines: tuple[str, ...], thresholds: Thresholds) -> None:
        self._lines, self._thresholds = lines, thresholds
        self._medians: dict[tuple[int, bool], list[tuple[float, int]]] = {}
        self._extremes: dict[tuple[int, bool], float] = {}

    def take(self, volts: Volts, high: Marks) -> None:
        """Some more samples.

        Args:
            volts: shape (n, k), V.
            high: shape (n, k), their levels.
        Source:
            common practice, no source: the samples next to an edge belong to the edge.
        """
        calm = np.ones(high.shape, dtype=np.bool_)
        changes = high[1:] != high[:-1]
        for shift in (0, 1, 2):
            calm[shift : shift + len(changes)] &= ~changes[: len(calm) - shift]
        calm[: max(len(changes) - 1, 0)] &= ~changes[1:]
        for k in range(len(self._lines)):
            for level in (False, True):
                found = volts[calm[:, k] & (high[:, k] == level), k]
                if found.size == 0:
                    continue
                self._medians.setdefault((k, level), []).append((float(np.median(found)), found.size))
                worst_v = float(found.min() if level else found.max())
                known_v = self._extremes.get((k, level), worst_v)
                self._extremes[k, level] = min(known_v, worst_v) if level else max(known_v, worst_v)

    def results(self) -> tuple[LineLevels, ...]:
        """What was seen, line by line.

        Returns:
            medians (of the pieces' medians, each weighing as many samples as it had) and extremes, V.
        Source:
            common practice, no source.
        """
        return tuple(
            LineLevels(
                line=line,
                high_v=_weighted_median(self._medians.get((k, True), [])),
                low_v=_weighted_median(self._medians.get((k, False), [])),
                least_high_v=self._extremes.get((k, True)),
                most_low_v=self._extremes.get((k, False)),
                v_il_v=self._thresholds.v_il_v,
                v_ih_v=self._thresholds.v_ih_v,
                automatic=self._thresholds.automatic,
            )
            for k, line in enumerate(self._lines)
        )


def _weighted_median(entries: list[tuple[float, int]]) -> float | None:
    left = sum(count for _, count in entries) / 2
    for value, count in sorted(entries):
        left -= count
        if left <= 0:
            return value
    return None
