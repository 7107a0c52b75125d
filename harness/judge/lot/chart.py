"""A number over the units in the order of time: weighted mean, rules of zones, and how often they alarm by chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.judge.gauge import ewma, mean_range_ratio
from harness.judge.gauge.ewma import WEIGHT_RATIO, WIDTH
from harness.judge.lot.run_length import SIDE, ewma_run_length, zone_alarm, zones_run_length
from harness.judge.uncertainty.checked import Floats, checked

LEAST_POINTS = 20
"""Fewer give no chart: mean and deviation would be too uncertain for any limit."""
MOST_BASE = 1000
BEYOND = 4
"""Zone of what lies beyond three deviations."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chart:
    """One chart."""

    base: int
    """Points at the beginning that give mean and deviation."""
    mean: float
    deviation: float
    """From the mean moving range of the base."""
    weighted: Floats
    """The weighted mean after each point, shape (n,)."""
    half: Floats
    """Half width of its limits at each point, shape (n,)."""
    alarms: tuple[int, ...]
    """0-based points at which the weighted mean is outside."""
    excursions: int
    """Times that it went outside; a shift that stays is one."""
    zone_alarms: int
    """Points at which one of the four rules of zones is broken."""
    run_length: float
    """Mean points between false alarms of the weighted mean."""
    zone_run_length: float
    """The same of the four rules of zones together."""

    @property
    def expected(self) -> float:
        """False alarms of the weighted mean in so many points."""
        return len(self.weighted) / self.run_length

    @property
    def zone_expected(self) -> float:
        """False alarms of the four rules of zones in so many points."""
        return len(self.weighted) / self.zone_run_length


def chart_of(values: npt.ArrayLike) -> Chart | None:
    """The chart of a number over units.

    Args:
        values: shape (n,), oldest unit first, any unit.
    Returns:
        the chart; None for fewer than 20 values, or where the first of them are all alike.
    Raises:
        NotFinite: a value is NaN or infinite.
    Source:
        ewma; deviation of individuals from their moving range: NIST/SEMATECH e-Handbook, 6.3.2.2; run lengths:
        run_length.
    """
    x = checked("chart", "values", values)
    base = min(max(len(x) // 2, LEAST_POINTS), MOST_BASE)
    if len(x) < LEAST_POINTS:
        return None
    mean = float(np.mean(x[:base]))
    deviation = float(np.mean(np.abs(np.diff(x[:base])))) / mean_range_ratio(2)
    if deviation <= 0.0:
        return None
    weighted, half = ewma(x, mean=mean, deviation=deviation)
    outside = np.abs(weighted - mean) > half
    rises = np.count_nonzero(outside & ~np.concatenate([[False], outside[:-1]]))
    return Chart(
        base=base,
        mean=mean,
        deviation=deviation,
        weighted=weighted,
        half=half,
        alarms=tuple(np.flatnonzero(outside).tolist()),
        excursions=int(rises),
        zone_alarms=zone_alarms((x - mean) / deviation),
        run_length=ewma_run_length(WEIGHT_RATIO, WIDTH),
        zone_run_length=zones_run_length(two_of_three=True, four_of_five=True, eight=True),
    )


def zone_alarms(deviations: npt.ArrayLike) -> int:
    """At how many points one of the four rules of zones is broken; after an alarm all begin anew.

    Args:
        deviations: shape (n,), distance of each point from the mean in standard deviations.
    Returns:
        the count.
    Raises:
        NotFinite: a number is NaN or infinite.
    Source:
        run_length.zone_alarm; beginning anew is what an average run length counts.
    """
    z = checked("zones", "deviations", deviations)
    zones = np.where(z >= 0.0, 1, -1) * np.minimum(np.floor(np.abs(z)).astype(int) + 1, BEYOND)
    sides = _sides(zones)
    count, begin = 0, 0
    # With all points before them more points alarm than from a new beginning: only those need a closer look.
    for at in np.flatnonzero(_candidates(zones, sides)).tolist():
        seen = tuple(zones[max(begin, at - 4) : at + 1].tolist())
        side = min(int(sides[at]), at - begin + 1)
        if abs(seen[-1]) == BEYOND or zone_alarm(seen, side, two_of_three=True, four_of_five=True, eight=True):
            count, begin = count + 1, at + 1
    return count


def _sides(zones: npt.NDArray[np.int_]) -> npt.NDArray[np.int_]:
    """How many points in a row lie on the side of each point, itself included."""
    numbers = np.arange(len(zones))
    changes = np.concatenate([[True], np.sign(zones[1:]) != np.sign(zones[:-1])])
    return numbers - np.maximum.accumulate(np.where(changes, numbers, 0)) + 1


def _candidates(zones: npt.NDArray[np.int_], sides: npt.NDArray[np.int_]) -> npt.NDArray[np.bool_]:
    found: npt.NDArray[np.bool_] = np.asarray((np.abs(zones) == BEYOND) | (sides >= SIDE))
    for sign in (1, -1):
        for least, wanted, window in ((3, 2, 3), (2, 4, 5)):
            beyond = sign * zones >= least
            enough = np.convolve(beyond, np.ones(window, dtype=int))[: len(zones)] >= wanted
            found = np.logical_or(found, np.logical_and(beyond, enough))
    return found
