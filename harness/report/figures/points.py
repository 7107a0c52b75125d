"""Points of a residual figure: colour by range, marker by outcome, arrows at the edge for what is out of view."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from harness.report.figures.canvas import INK, LIMIT, RANGE_COLOURS
from harness.report.words import percent
from harness.values import Outcome

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARKERS = {Outcome.PASS: "o", Outcome.FAIL: "x", Outcome.INCONCLUSIVE: "D", Outcome.INVALID: "s"}
SIZES = {Outcome.PASS: 2.2, Outcome.FAIL: 4.5, Outcome.INCONCLUSIVE: 3.6, Outcome.INVALID: 3.6}


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One setting or step in a figure."""

    place: int
    value_percent: float | None
    outcome: Outcome
    coarse: int
    ringed: bool = False
    """Worth a ring: a large change of word."""
    half_percent: float | None = None
    """Half length of the bar through it: its expanded uncertainty; None for no bar."""


def draw_points(axes: Axes, points: Sequence[Point], *, scale_percent: tuple[float, float]) -> None:
    """Draw points into a panel.

    Args:
        axes: of the panel.
        points: of one channel.
        scale_percent: lowest and highest percent in view.
    """
    low, high = scale_percent
    axes.set_ylim(low, high)
    if not points:
        axes.text(0.5, 0.62, "none in this run", transform=axes.transAxes, ha="center", color=INK)
    groups: dict[tuple[int, Outcome], list[Point]] = {}
    beyond: list[Point] = []
    for point in points:
        if point.value_percent is None:
            continue
        if low <= point.value_percent <= high:
            groups.setdefault((point.coarse, point.outcome), []).append(point)
        else:
            beyond.append(point)
    _bars(axes, [point for group in groups.values() for point in group])
    for (coarse, outcome), group in sorted(groups.items()):
        _dots(axes, group, RANGE_COLOURS[coarse % len(RANGE_COLOURS)], outcome)
    ringed = [p for p in points if p.ringed and p.value_percent is not None and low <= p.value_percent <= high]
    _line(axes, ringed, marker="o", size=6.0, colour=INK, hollow=True)
    _beyond(axes, beyond, scale_percent)
    unknown = [point for point in points if point.value_percent is None]
    if unknown:
        at = [low + 0.05 * (high - low)] * len(unknown)
        axes.plot([p.place for p in unknown], at, "|", color=LIMIT, markersize=6.0, zorder=4)


def _dots(axes: Axes, group: Sequence[Point], colour: str, outcome: Outcome) -> None:
    marker, size = MARKERS[outcome], SIZES[outcome]
    _line(axes, group, marker=marker, size=size, colour=colour, hollow=outcome is not Outcome.PASS)


def _bars(axes: Axes, points: Sequence[Point]) -> None:
    """One line a range with gaps between its bars, for a bar of its own would weigh ten times as much."""
    for coarse in sorted({point.coarse for point in points if point.half_percent is not None}):
        places: list[float] = []
        ends: list[float] = []
        for point in points:
            if point.coarse == coarse and point.half_percent is not None and point.value_percent is not None:
                places += [point.place, point.place, math.nan]
                ends += [point.value_percent - point.half_percent, point.value_percent + point.half_percent, math.nan]
        colour = RANGE_COLOURS[coarse % len(RANGE_COLOURS)]
        axes.plot(places, ends, linestyle="-", linewidth=0.7, color=colour, alpha=0.45, zorder=3)


def _line(axes: Axes, group: Sequence[Point], *, marker: str, size: float, colour: str, hollow: bool) -> None:
    axes.plot(
        [point.place for point in group],
        [point.value_percent or 0.0 for point in group],
        linestyle="none",
        marker=marker,
        markersize=size,
        color=colour,
        markerfacecolor="none" if hollow else colour,
        markeredgewidth=0.9 if hollow else 0.0,
        zorder=4,
    )


def _beyond(axes: Axes, beyond: Sequence[Point], scale_percent: tuple[float, float]) -> None:
    low, high = scale_percent
    for above, marker, edge in ((True, "^", high), (False, "v", low)):
        out = [point for point in beyond if ((point.value_percent or 0.0) > high) is above]
        if not out:
            continue
        inside = edge - 0.04 * (high - low) if above else edge + 0.04 * (high - low)
        for coarse in sorted({point.coarse for point in out}):
            axes.plot(
                [point.place for point in out if point.coarse == coarse],
                [inside] * sum(point.coarse == coarse for point in out),
                linestyle="none",
                marker=marker,
                markersize=4.5,
                color=RANGE_COLOURS[coarse % len(RANGE_COLOURS)],
                zorder=5,
            )
        furthest_percent = max((point.value_percent or 0.0 for point in out), key=abs)
        axes.text(
            0.995,
            0.86 if above else 0.14,
            f"{len(out)} beyond, furthest {percent(furthest_percent)}",
            transform=axes.transAxes,
            ha="right",
            va="top" if above else "bottom",
            fontsize=8.0,
            color=INK,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5, "alpha": 0.85},
            zorder=6,
        )
