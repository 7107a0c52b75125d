"""Up against down, one panel a channel: a late latch, slow settling, a contact that moves."""

from __future__ import annotations

from harness.report.figures.canvas import FAINT, RANGE_COLOURS
from harness.report.figures.panels import Axis, Panel, PanelPoint, panels_svg
from harness.report.figures.places import places_of
from harness.report.labels import range_name
from harness.report.words import decimal
from harness.values import RunResult, SettingResult

LEAST_PERCENT = 0.02
"""Half the height of the scale is at least this: what is smaller is not drawn as if it were large."""
NAMED = 6
"""Ranges named below each panel, at most."""


def updown_svg(result: RunResult) -> str:
    """The gain on the way up over that on the way down, of every setting that was read both ways.

    Args:
        result: of a run.
    Returns:
        an `svg` element; empty when no setting was read both ways.
    """
    rows = [row for row in result.settings if row.up_down_percent is not None]
    if not rows:
        return ""
    places = places_of(result)
    reach = 1.1 * max(LEAST_PERCENT, *(abs(row.up_down_percent or 0.0) for row in rows))
    last = float(places.ranges[-1][2]) + 1.5
    every = -(-len(places.ranges) // NAMED)
    x = Axis(
        low=-1.5,
        high=last,
        ticks=tuple(((a + b) / 2.0, range_name(coarse, result)) for coarse, a, b in places.ranges[::every]),
        name="range, fine positions from least gain to most",
    )
    ends = tuple((edge, f"{decimal(edge, digits=2, signed=True)} %") for edge in (-reach / 1.1, reach / 1.1))
    y = Axis(low=-reach, high=reach, ticks=(ends[0], (0.0, "0"), ends[1]), name="up/down")
    panels = [
        Panel(
            title=f"ch{channel}",
            points=tuple(_point(row, places.of(row.setting)) for row in rows if row.setting.channel == channel),
            lines=((-1.5, 0.0, last, 0.0, FAINT),),
            shaded=tuple((a - 1.5, b + 1.5) for _, a, b in places.ranges[1::2]),
        )
        for channel in places.channels
    ]
    label = "Gain on the way up over that on the way down, one panel a channel"
    return panels_svg(panels, x=x, y=y, label=label, height=110, columns=2)


def _point(row: SettingResult, place: int) -> PanelPoint:
    return PanelPoint(
        x=float(place),
        y=row.up_down_percent or 0.0,
        colour=RANGE_COLOURS[row.setting.coarse % len(RANGE_COLOURS)],
    )
