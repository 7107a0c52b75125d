"""Residual against setting, one panel a channel: is the law obeyed."""

from __future__ import annotations

from harness.report.figures.canvas import draw_limits, inline_svg, look, mark_ranges, scale_percent
from harness.report.figures.places import places_of
from harness.report.figures.points import Point, draw_points
from harness.values import RunResult

PANEL_INCH = 1.45
MARGIN_INCH = 0.75


def residual_svg(result: RunResult) -> str:
    """The residual of every setting against the law.

    Args:
        result: of a run.
    Returns:
        an `svg` element; empty without settings.
    """
    places = places_of(result)
    if not places.ranges:
        return ""
    with look("residual"):
        from matplotlib.figure import Figure

        height = PANEL_INCH * len(places.channels) + MARGIN_INCH
        figure = Figure(figsize=(11.0, height), layout="constrained")
        panels = figure.subplots(len(places.channels), 1, squeeze=False)[:, 0]
        values = [row.residual_percent for row in result.settings if row.residual_percent is not None]
        scale = scale_percent(values, result.gain_limit_percent)
        for channel, axes in zip(places.channels, panels, strict=True):
            mark_ranges(axes, places, result, named=channel == places.channels[-1])
            draw_limits(axes, result.gain_limit_percent, result.gain_guard_percent)
            points = [
                Point(
                    place=places.of(row.setting),
                    value_percent=row.residual_percent,
                    outcome=row.outcome,
                    coarse=row.setting.coarse,
                )
                for row in result.settings
                if row.setting.channel == channel
            ]
            draw_points(axes, points, scale_percent=scale)
            axes.set_ylabel(f"ch{channel}  %")
        panels[-1].set_xlabel("range, and its fine positions from least gain to most")
        return inline_svg(figure, label="Residual against the law for every setting, one panel a channel")
