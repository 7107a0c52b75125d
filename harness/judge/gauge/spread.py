"""What a gauge study comes to, whatever the method."""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.errors import MeasureError

GOOD_PERCENT = 10.0
"""%GRR below it: good."""
MOST_PERCENT = 30.0
"""%GRR above it: not to be used; between the two: conditional."""
NDC_RATIO = 1.41
"""Of PV over GRR: the number of distinct categories."""
NDC_LEAST = 5
SPREAD_SIGMAS = 6.0
"""Width of the spread that is compared with a tolerance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeSpread:
    """Standard deviations, unit of the measured number."""

    ev: float
    """Repeatability: the same appraiser again (equipment variation)."""
    av: float
    """Reproducibility: another appraiser; interaction included where the method knows it."""
    pv: float
    """Of the parts."""

    def __post_init__(self) -> None:
        if not math.hypot(self.ev, self.av) > 0.0:
            raise MeasureError(
                "gauge study: all readings of each part are equal, so there is no scatter to judge; allowed: readings "
                "that were taken anew each time: look whether one run was counted twice"
            )

    @property
    def grr(self) -> float:
        """Repeatability and reproducibility together."""
        return math.hypot(self.ev, self.av)

    @property
    def tv(self) -> float:
        """Everything together."""
        return math.hypot(self.grr, self.pv)

    def percent(self, part: float) -> float:
        """A standard deviation in percent of the total variation."""
        return 100.0 * part / self.tv

    @property
    def ndc_ratio(self) -> float:
        """Distinct categories, before it is cut down to a whole number."""
        return NDC_RATIO * self.pv / self.grr

    @property
    def ndc(self) -> int:
        """Distinct categories that the gauge tells apart."""
        return math.floor(self.ndc_ratio)

    def tolerance_percent(self, width: float) -> float:
        """Six standard deviations of GRR in percent of a tolerance.

        Args:
            width: high limit less low limit, unit of the measured number, > 0.
        Returns:
            percent.
        Source:
            AIAG, Measurement Systems Analysis, 4th ed., chapter III-B.
        """
        return 100.0 * SPREAD_SIGMAS * self.grr / width


def grade(percent: float) -> str:
    """What %GRR allows.

    Args:
        percent: of the total variation, or of a tolerance.
    Returns:
        good, conditional or too much.
    Source:
        AIAG, Measurement Systems Analysis, 4th ed.: below 10 %, up to 30 %, above.
    """
    if percent < GOOD_PERCENT:
        return "good"
    return "conditional" if percent <= MOST_PERCENT else "too much"
