"""Gauge R&R by averages and ranges."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from harness.judge.gauge.range_factors import mean_range_ratio, single_range_ratio
from harness.judge.gauge.spread import GaugeSpread
from harness.judge.gauge.table import GaugeTable

DIGITS = 4
"""The book prints its constants to four decimals, and everybody computes with those."""
LIMIT_SIGMAS = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeStudy:
    """The steps of the method, unit of the measured number."""

    mean_ranges: tuple[float, ...]
    """By appraiser."""
    mean_range: float
    range_limit: float
    """A range above it is another fault than scatter."""
    above: tuple[tuple[str, str], ...]
    """Part and appraiser of such ranges."""
    between_appraisers: float
    """Range of the means of the appraisers."""
    between_parts: float
    """Range of the means of the parts."""
    spread: GaugeSpread


def average_range_study(table: GaugeTable) -> RangeStudy:
    """Gauge R&R by averages and ranges.

    Args:
        table: the readings.
    Returns:
        the study. An appraiser variation that repeatability alone explains is 0.
    Raises:
        MeasureError: all readings of each part are equal.
    Source:
        AIAG, Measurement Systems Analysis, 4th ed., chapter III-B: EV = R·K1, AV² = (X·K2)² - EV²/(n·r), PV = Rp·K3.
    """
    parts, appraisers, trials = table.values.shape
    ranges = np.ptp(table.values, axis=2)
    mean_range = float(ranges.mean())
    k1 = round(1.0 / mean_range_ratio(trials), DIGITS)
    k2 = round(1.0 / single_range_ratio(appraisers), DIGITS)
    k3 = round(1.0 / single_range_ratio(parts), DIGITS)
    limit = mean_range * _upper_ratio(trials)
    between_appraisers = float(np.ptp(table.values.mean(axis=(0, 2))))
    between_parts = float(np.ptp(table.values.mean(axis=(1, 2))))
    ev = mean_range * k1
    av = math.sqrt(max((between_appraisers * k2) ** 2 - ev**2 / (parts * trials), 0.0))
    return RangeStudy(
        mean_ranges=tuple(float(each) for each in ranges.mean(axis=0)),
        mean_range=mean_range,
        range_limit=limit,
        above=tuple((table.parts[p], table.appraisers[a]) for p, a in np.argwhere(ranges > limit)),
        between_appraisers=between_appraisers,
        between_parts=between_parts,
        spread=GaugeSpread(ev=ev, av=av, pv=between_parts * k3),
    )


def _upper_ratio(trials: int) -> float:
    mean = mean_range_ratio(trials)
    own = math.sqrt(single_range_ratio(trials) ** 2 - mean**2)
    return round(1.0 + LIMIT_SIGMAS * own / mean, 3)
