"""Measured against predicted gain, one panel a channel: the gross shape, swapped ranges, a relay that stays."""

from __future__ import annotations

from harness.report.figures.against_gain import MOST_TICKS, engineering, whole_decades
from harness.report.figures.canvas import FAINT, RANGE_COLOURS
from harness.report.figures.panels import Axis, Panel, PanelPoint, panels_svg
from harness.values import Outcome, RunResult, SettingResult


def gross_svg(result: RunResult) -> str:
    """The measured gain of every setting against the predicted one, both logarithmic.

    Args:
        result: of a run.
    Returns:
        an `svg` element; empty when no setting has a gain.
    """
    rows = [row for row in result.settings if (row.measured_codes_per_v or 0.0) > 0.0]
    if not rows:
        return ""
    predicted = whole_decades([row.predicted_codes_per_v for row in rows])
    measured = whole_decades([row.measured_codes_per_v or 1.0 for row in rows])
    low, high = max(predicted[0], measured[0]), min(predicted[1], measured[1])
    channels = sorted({row.setting.channel for row in result.settings})
    panels = [
        Panel(
            title=f"ch{channel}",
            points=tuple(_point(row) for row in rows if row.setting.channel == channel),
            lines=((low, low, high, high, FAINT),),
        )
        for channel in channels
    ]
    return panels_svg(
        panels,
        x=_axis(predicted, "predicted gain, codes/V"),
        y=_axis(measured, "measured, codes/V"),
        label="Measured against predicted gain of every setting, one panel a channel",
    )


def _axis(ends: tuple[float, float], name: str) -> Axis:
    decades = [ends[0]]
    while decades[-1] * 9.99 < ends[1]:
        decades.append(decades[-1] * 10.0)
    every = -(-(len(decades) - 1) // MOST_TICKS)
    ticks = tuple((value, engineering(value, unit="")) for value in decades[:: max(every, 1)])
    return Axis(low=ends[0], high=ends[1], ticks=ticks, name=name, logarithmic=True)


def _point(row: SettingResult) -> PanelPoint:
    return PanelPoint(
        x=row.predicted_codes_per_v,
        y=row.measured_codes_per_v or 0.0,
        colour=RANGE_COLOURS[row.setting.coarse % len(RANGE_COLOURS)],
        mark="cross" if row.outcome is Outcome.FAIL else "dot",
    )
