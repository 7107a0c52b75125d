"""A quantity against the measured gain, one panel a channel: colour by range, open marks where gain is arithmetic."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from harness.report.arithmetic import PARTLY
from harness.report.figures.canvas import INK, RANGE_COLOURS
from harness.values import RunResult, SettingResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

MOST_COLUMNS = 4
MOST_TICKS = 4
"""Spaces between the named powers of ten of an axis."""

WIDTH_INCH = 11.0
PANEL_INCH = 2.2
MARGIN_INCH = 0.55
PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One setting in a panel."""

    gain_codes_per_v: float
    value: float
    coarse: int
    hollow: bool
    """Its gain is arithmetic, wholly or in part."""


def marks_of(result: RunResult, value_of: Callable[[SettingResult, float], float | None]) -> dict[int, list[Mark]]:
    """What is to be drawn.

    Args:
        result: of a run.
        value_of: the quantity of a setting with its measured gain in codes/V; None for nothing to draw.
    Returns:
        marks by channel; a setting without a gain has none, a channel without a mark still has its entry.
    """
    marks: dict[int, list[Mark]] = {row.setting.channel: [] for row in result.settings}
    for row in result.settings:
        gain_codes_per_v = row.measured_codes_per_v
        if gain_codes_per_v is None or gain_codes_per_v <= 0.0:
            continue
        value = value_of(row, gain_codes_per_v)
        if value is not None:
            marks[row.setting.channel].append(
                Mark(
                    gain_codes_per_v=gain_codes_per_v,
                    value=value,
                    coarse=row.setting.coarse,
                    hollow=row.realness in PARTLY,
                )
            )
    return dict(sorted(marks.items()))


def panels_of(count: int) -> tuple[Figure, list[Axes]]:
    """Panels side by side, at most four in a row, all of one scale.

    Args:
        count: of channels, at least one.
    Returns:
        the figure and one panel a channel.
    """
    from matplotlib.figure import Figure

    columns = min(count, MOST_COLUMNS)
    rows = -(-count // columns)
    figure = Figure(figsize=(WIDTH_INCH, PANEL_INCH * rows + MARGIN_INCH), layout="constrained")
    grid = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True)
    panels = list(grid.flat)
    for unused in panels[count:]:
        unused.set_visible(False)
    return figure, panels[:count]


def draw_marks(axes: Axes, marks: Sequence[Mark], *, channel: int) -> None:
    """Draw the marks of one channel.

    Args:
        axes: of the panel.
        marks: of the channel.
        channel: 1-based, for the title.
    """
    axes.set_title(f"ch{channel}", loc="left", fontsize=9.5)
    if not marks:
        axes.text(0.5, 0.5, "none in this run", transform=axes.transAxes, ha="center", color=INK)
    for coarse, hollow in sorted({(mark.coarse, mark.hollow) for mark in marks}):
        group = [mark for mark in marks if (mark.coarse, mark.hollow) == (coarse, hollow)]
        colour = RANGE_COLOURS[coarse % len(RANGE_COLOURS)]
        axes.plot(
            [mark.gain_codes_per_v for mark in group],
            [mark.value for mark in group],
            linestyle="none",
            marker="o",
            markersize=3.2 if hollow else 2.4,
            color=colour,
            markerfacecolor="none" if hollow else colour,
            markeredgewidth=0.7 if hollow else 0.0,
            zorder=4,
        )


def whole_decades(values: Sequence[float]) -> tuple[float, float]:
    """How far a logarithmic axis reaches.

    Args:
        values: what is drawn, > 0.
    Returns:
        powers of ten that enclose all values, so that an axis has at least two named ticks.
    """
    if not values:
        return 1.0, 10.0
    low = math.floor(math.log10(min(values)))
    high = max(math.ceil(math.log10(max(values))), low + 1)
    return 10.0**low, 10.0**high


def log_gain(axes: Axes, limits_codes_per_v: tuple[float, float]) -> None:
    """Make the horizontal axis one of gain: logarithmic, with ticks that people read.

    Args:
        axes: of a panel.
        limits_codes_per_v: from `whole_decades`.
    """
    axes.set_xscale("log")
    axes.set_xlim(*limits_codes_per_v)
    name_decades(axes.xaxis, limits_codes_per_v, unit="")


def name_decades(axis: Axis, limits: tuple[float, float], *, unit: str) -> None:
    """Give a logarithmic axis few ticks, which people can read.

    Args:
        axis: horizontal or vertical.
        limits: from `whole_decades`.
        unit: after the number, such as `V`; may be empty.
    """
    low, high = (round(math.log10(edge)) for edge in limits)
    ticks = [10.0**power for power in range(low, high + 1, -(-(high - low) // MOST_TICKS))]
    axis.set_ticks(ticks, [engineering(tick, unit=unit) for tick in ticks])
    axis.set_ticks([], minor=True)


def engineering(value: float, *, unit: str) -> str:
    """How a tick of a logarithmic axis reads.

    Args:
        value: > 0.
        unit: after the prefix; may be empty.
    Returns:
        such as `10 µV`, `200 k`, `1`.
    """
    factor, prefix = next((pair for pair in PREFIXES if value >= 0.999 * pair[0]), PREFIXES[-1])
    return f"{value / factor:.3g} {prefix}{unit}".rstrip()
