"""Residual against setting, one panel a channel: is the law obeyed; below each, the residual to the fitted law."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from harness.report.figures.canvas import draw_limits, inline_svg, look, mark_ranges, scale_percent
from harness.report.figures.places import Places, places_of
from harness.report.figures.points import Point, draw_points
from harness.values import Judgement, RunResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PANEL_INCH = 1.45
FITTED_INCH = 0.8
MARGIN_INCH = 0.75


def residual_svg(result: RunResult) -> str:
    """The residual of every setting against the law, and to the fitted law where that is claimed.

    Args:
        result: of a run.
    Returns:
        an `svg` element; empty without settings.
    """
    places = places_of(result)
    if not places.ranges:
        return ""
    fitted = _fitted_claims(result)
    with look("residual"):
        from matplotlib.figure import Figure

        heights = [PANEL_INCH, FITTED_INCH] if fitted else [PANEL_INCH]
        inches = heights * len(places.channels)
        figure = Figure(figsize=(11.0, sum(inches) + MARGIN_INCH), layout="constrained")
        panels = figure.subplots(len(inches), 1, squeeze=False, height_ratios=inches)[:, 0].tolist()
        _draw_absolute(panels[:: len(heights)], places, result, named=not fitted)
        if fitted:
            _draw_fitted(panels[1::2], places, result, fitted)
        panels[-1].set_xlabel("range, and its fine positions from least gain to most")
        return inline_svg(figure, label="Residual against the law for every setting, one panel a channel")


def has_fitted_row(result: RunResult) -> bool:
    """Whether the figure has rows for the residual to the fitted law.

    Args:
        result: of a run.
    Returns:
        whether any setting has a claim on it, with limits.
    """
    return bool(_fitted_claims(result))


def _fitted_claims(result: RunResult) -> list[Judgement]:
    return [
        claim
        for claim in result.judgements
        if claim.item == "residual" and claim.setting and claim.low is not None and claim.high is not None
    ]


def _draw_absolute(panels: Sequence[Axes], places: Places, result: RunResult, *, named: bool) -> None:
    values = [row.residual_percent for row in result.settings if row.residual_percent is not None]
    scale = scale_percent(values, result.gain_limit_percent)
    for channel, axes in zip(places.channels, panels, strict=True):
        mark_ranges(axes, places, result, named=named and channel == places.channels[-1])
        draw_limits(axes, result.gain_limit_percent, result.gain_guard_percent)
        points = [
            Point(
                place=places.of(row.setting),
                value_percent=row.residual_percent,
                outcome=row.outcome,
                coarse=row.setting.coarse,
                half_percent=row.expanded_percent,
            )
            for row in result.settings
            if row.setting.channel == channel
        ]
        draw_points(axes, points, scale_percent=scale)
        axes.set_ylabel(f"ch{channel}  %")


def _draw_fitted(panels: Sequence[Axes], places: Places, result: RunResult, claims: list[Judgement]) -> None:
    """Limits and guard band as the claims carry them; a setting without a claim took no part in the fit."""
    limits = (claims[0].low or 0.0, claims[0].high or 0.0)
    scale = scale_percent([claim.measured for claim in claims if claim.measured is not None], limits)
    own = {row.setting: row.own_percent for row in result.settings}
    for channel, axes in zip(places.channels, panels, strict=True):
        mark_ranges(axes, places, result, named=channel == places.channels[-1])
        draw_limits(axes, limits, claims[0].guard)
        points = [
            Point(
                place=places.of(claim.setting),
                value_percent=claim.measured,
                outcome=claim.outcome,
                coarse=claim.setting.coarse,
                half_percent=own.get(claim.setting),
            )
            for claim in claims
            if claim.setting and claim.setting.channel == channel and claim.setting in own
        ]
        draw_points(axes, points, scale_percent=scale)
        axes.set_ylabel("fitted  %")
