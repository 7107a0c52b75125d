"""Numbers of every setting, panels by channel: changes between two runs, or the residuals of many units."""

from __future__ import annotations

from collections.abc import Sequence

from harness.report.figures.canvas import FAINT, LIMIT
from harness.report.figures.panels import Axis, Panel, PanelPoint, panels_svg
from harness.report.figures.places import places_of
from harness.report.labels import range_name
from harness.report.words import decimal
from harness.values import RunResult, Setting

LEAST_PERCENT = 0.02
NAMED = 6
MOST_REACH = 2.5
"""Of the limit: what lies farther out is drawn at the edge."""

Mark = tuple[Setting, float, str, str]
"""Setting, percent, colour and mark."""


def population_svg(
    marks: Sequence[Mark],
    result: RunResult,
    *,
    limits: tuple[float | None, float | None],
    label: str,
    name: str,
    lined: bool = True,
) -> str:
    """Numbers in percent at the places of their settings.

    Args:
        marks: in the order in which they are drawn.
        result: a run with all settings, for the places.
        limits: low and high, percent; None for none. Gross values never flatten what lies near them.
        label: what it shows, for those who cannot see it.
        name: of the vertical axis.
        lined: whether the limits are drawn.
    Returns:
        an `svg` element; empty without marks.
    """
    places = places_of(result)
    shown = [mark for mark in marks if (mark[0].coarse, mark[0].fine) in places.at]
    if not shown or not places.ranges:
        return ""
    known = [edge for edge in limits if edge is not None]
    edges = known if lined else []
    widest = max([abs(edge) for edge in known], default=0.0)
    seen = max(abs(percent) for _, percent, _, _ in shown)
    reach = 1.1 * max(LEAST_PERCENT, widest, min(seen, MOST_REACH * widest) if widest else seen)
    last = float(places.ranges[-1][2]) + 1.5
    x = Axis(
        low=-1.5,
        high=last,
        ticks=tuple(
            ((a + b) / 2.0, range_name(coarse, result))
            for coarse, a, b in places.ranges[:: -(-len(places.ranges) // NAMED)]
        ),
        name="range, fine positions from least gain to most",
    )
    named = sorted({*edges, 0.0}) if edges else [-reach / 1.1, 0.0, reach / 1.1]
    ticks = tuple((value, f"{decimal(value, digits=2, signed=value != 0.0)} %") for value in named)
    panels = [
        Panel(
            title=f"ch{channel}",
            points=tuple(
                PanelPoint(x=float(places.of(at)), y=percent, colour=colour, mark=mark)
                for at, percent, colour, mark in shown
                if at.channel == channel
            ),
            lines=((-1.5, 0.0, last, 0.0, FAINT), *((-1.5, edge, last, edge, LIMIT) for edge in edges)),
            shaded=tuple((a - 1.5, b + 1.5) for _, a, b in places.ranges[1::2]),
        )
        for channel in places.channels
    ]
    y = Axis(low=-reach, high=reach, ticks=ticks, name=name)
    return panels_svg(panels, x=x, y=y, label=label, height=130, columns=2)
