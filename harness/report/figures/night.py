"""A night over its hours: what the anchors did, how warm the unit was, what fed it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from harness.report.figures.canvas import FAINT, RANGE_COLOURS, inline_svg, look
from harness.values import NightResult, NightSeries

if TYPE_CHECKING:
    from matplotlib.axes import Axes

DASHES = ("-", "--", ":", "-.")
"""Units differ by dash as well as by colour: a page may be printed in black."""


NAMES = {"probe_c": "unit", "air_c": "air", "supply_v": "supply"}


def night_svg(night: NightResult) -> str:
    """Anchor drift, temperatures and supply voltage against time.

    Args:
        night: the whole night.
    Returns:
        an `svg` element; empty when nothing was recorded over time.
    """
    panels = [
        ("anchor drift, %", night.anchors),
        ("temperature, °C", [s for s in night.strips if s.name.endswith("_c")]),
        ("supply, V", [s for s in night.strips if s.name == "supply_v"]),
    ]
    # A setting that was read again only once, after a run was resumed, has no course to draw.
    courses = [(title, [one for one in series if len(one.points) > 1]) for title, series in panels]
    shown = [(title, series) for title, series in courses if series]
    if not shown:
        return ""
    from matplotlib.figure import Figure

    with look("night"):
        figure = Figure(figsize=(9.0, 0.6 + 1.9 * len(shown)), layout="constrained")
        axes = figure.subplots(len(shown), 1, sharex=True, squeeze=False)[:, 0]
        for ax, (title, series) in zip(axes, shown, strict=True):
            _draw(ax, series, night.units)
            ax.set_ylabel(title)
            ax.grid(axis="y", color=FAINT, linewidth=0.3)
        axes[-1].set_xlabel("hours since the night began")
        return inline_svg(figure, label="Anchor drift, temperatures and supply voltage over the night, a line a unit")


def _draw(ax: Axes, series: Sequence[NightSeries], units: Sequence[str]) -> None:
    for number, one in enumerate(series):
        unit = units.index(one.unit) if one.unit in units else 0
        for piece, points in enumerate(_pieces(one.points)):
            ax.plot(
                [hours for hours, _ in points],
                [value for _, value in points],
                color=RANGE_COLOURS[number % len(RANGE_COLOURS)],
                linestyle=DASHES[unit % len(DASHES)],
                linewidth=1.0,
                label="" if piece else f"{one.unit} {NAMES.get(one.name, one.name)}",
            )
    ax.legend(fontsize=7.0, frameon=False, ncols=4, loc="upper left", bbox_to_anchor=(0.0, 1.22))


def _pieces(points: Sequence[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    """A course in pieces, a new one wherever a clock was set back: a line through that would be a lie."""
    pieces: list[list[tuple[float, float]]] = [[]]
    for point in points:
        if pieces[-1] and point[0] < pieces[-1][-1][0]:
            pieces.append([])
        pieces[-1].append(point)
    return pieces
