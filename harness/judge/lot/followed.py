"""Numbers that are followed from unit to unit: capability and chart of each, the most worrying first."""

from __future__ import annotations

from array import array
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from harness.judge.lot.capability import capability
from harness.judge.lot.chart import chart_of
from harness.values import Followed

MOST_FOLLOWED = 8
MOST_DRAWN = 400


@dataclass(slots=True)
class Course:
    """One number over the units, oldest first."""

    unit: str
    values: array[float] = field(default_factory=lambda: array("d"))
    low: float | None = None
    high: float | None = None


def followed(courses: Mapping[str, Course]) -> tuple[Followed, ...]:
    """Capability and chart of each number.

    Args:
        courses: by name.
    Returns:
        lowest Cpk first, those without limits last; a chart only of the eight first, which are shown.
    Source:
        practice: at most eight charts; capability, chart_of.
    """
    ranked = sorted(courses.items(), key=lambda pair: (_cpk_of(pair[1]), pair[0]))
    return tuple(_one(name, course, drawn=place < MOST_FOLLOWED) for place, (name, course) in enumerate(ranked))


def _cpk_of(course: Course) -> float:
    found = _capability(course)
    return float("inf") if found is None else found[0]


def _capability(course: Course) -> tuple[float, tuple[float, float]] | None:
    values = np.frombuffer(course.values)
    if len(values) < 2 or (course.low is None and course.high is None):
        return None
    deviation = float(np.std(values, ddof=1))
    if deviation <= 0.0:
        return None
    found = capability(float(np.mean(values)), deviation, len(values), low=course.low, high=course.high)
    return found.cpk, found.cpk_interval


def _one(name: str, course: Course, *, drawn: bool) -> Followed:
    values = np.frombuffer(course.values)
    chart = chart_of(values) if drawn else None
    found = _capability(course)
    every = -(-len(values) // MOST_DRAWN)
    return Followed(
        name=name,
        unit=course.unit,
        count=len(values),
        mean=float(np.mean(values)),
        deviation=float(np.std(values, ddof=1)) if len(values) > 1 else 0.0,
        low=course.low,
        high=course.high,
        cpk=None if found is None else found[0],
        cpk_interval=None if found is None else found[1],
        base=0 if chart is None else chart.base,
        excursions=0 if chart is None else chart.excursions,
        expected=0.0 if chart is None else chart.expected,
        run_length=0.0 if chart is None else chart.run_length,
        zone_alarms=0 if chart is None else chart.zone_alarms,
        zone_expected=0.0 if chart is None else chart.zone_expected,
        zone_run_length=0.0 if chart is None else chart.zone_run_length,
        weighted=() if chart is None else tuple(chart.weighted[::every].tolist()),
        half=() if chart is None else tuple(chart.half[::every].tolist()),
        centre=0.0 if chart is None else chart.mean,
        every=every,
    )
