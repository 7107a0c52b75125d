"""At which voltages a line reads low and high."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.errors import CaptureError

Volts = npt.NDArray[np.float64]

MOST_KEPT = 200_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Thresholds:
    """What a receiver promises: low below V_IL, high above V_IH, nothing in between."""

    v_il_v: float
    v_ih_v: float
    automatic: bool = False
    """Whether they were taken from the capture itself."""

    def __post_init__(self) -> None:
        if not -1e6 < self.v_il_v < self.v_ih_v < 1e6:
            raise CaptureError(
                f"thresholds: V_IL is {self.v_il_v!r} V and V_IH {self.v_ih_v!r} V; allowed are finite ones, V_IL lower"
            )


def family_thresholds(family: str, supply_v: float | None = None) -> Thresholds:
    """The thresholds of a logic family.

    Args:
        family: ttl or cmos.
        supply_v: supply, V; needed for cmos.
    Returns:
        0.8 and 2.0 V for ttl; 30 and 70 % of the supply for cmos.
    Raises:
        CaptureError: another family, or cmos without a supply.
    Source:
        common practice, no source.
    """
    if family == "ttl":
        return Thresholds(v_il_v=0.8, v_ih_v=2.0)
    if family == "cmos" and supply_v is not None:
        return Thresholds(v_il_v=0.3 * supply_v, v_ih_v=0.7 * supply_v)
    raise CaptureError(f"thresholds: family {family!r}, supply {supply_v!r} V; allowed: ttl, or cmos with a supply")


class LevelSurvey:
    """Gathers voltages, a share of them when there are many, to choose thresholds from the capture itself."""

    def __init__(self) -> None:
        self._kept: list[Volts] = []
        self._count = 0
        self._every = 1
        self._low_v, self._high_v = np.inf, -np.inf

    def take(self, volts: Volts) -> None:
        """Some more samples of all lines.

        Args:
            volts: shape (n, k), V, finite.
        Source:
            none: bookkeeping.
        """
        if volts.size == 0:
            return
        self._low_v, self._high_v = min(self._low_v, float(volts.min())), max(self._high_v, float(volts.max()))
        self._kept.append(volts[:: self._every].reshape(-1).copy())
        self._count += self._kept[-1].size
        if self._count > MOST_KEPT:
            self._kept = [np.concatenate(self._kept)[::2]]
            self._count, self._every = self._kept[0].size, self._every * 2

    def thresholds(self) -> Thresholds:
        """Thresholds from the voltages seen.

        Returns:
            30 and 70 % between the 10th and the 90th percentile of all lines together; where a quiet bus leaves these
            within half of the whole span, between the extremes.
        Raises:
            CaptureError: nothing was seen, or all voltages are equal.
        Source:
            common practice, no source: 50 % between the 10th and 90th percentile, with 20 % of hysteresis to each side.
        """
        if not self._low_v < self._high_v:
            raise CaptureError("thresholds: the voltages never change; allowed is a capture in which lines move")
        low_v, high_v = (float(value) for value in np.percentile(np.concatenate(self._kept), (10.0, 90.0)))
        if high_v - low_v < 0.5 * (self._high_v - self._low_v):
            low_v, high_v = self._low_v, self._high_v
        swing_v = high_v - low_v
        return Thresholds(v_il_v=low_v + 0.3 * swing_v, v_ih_v=low_v + 0.7 * swing_v, automatic=True)
