"""The coverage map as a figure: sensitivities by range, what the converter makes of them, what stays out of reach."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from harness.report.figures.canvas import FAINT, INK, LIMIT, RANGE_COLOURS, look
from harness.report.words import plain
from harness.values import Coverage, CoverageRow

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BAR = 0.34


def coverage_svg(coverage: Coverage, *, title: str) -> str:
    """The coverage map.

    Args:
        coverage: of a device on a bench.
        title: above the figure.
    Returns:
        a whole SVG file; the same bytes for the same arguments.
    """
    with look("coverage"):
        from matplotlib.figure import Figure

        height = 1.9 + 0.28 * len(coverage.ranges)
        figure = Figure(figsize=(9.0, height), layout="constrained")
        bars, steps, bits = figure.subplots(1, 3, sharey=True, width_ratios=(3.0, 1.5, 1.2))
        figure.suptitle(plain(title), x=0.01, ha="left", fontsize=10.5)
        _draw_scales(bars, coverage)
        _draw_steps(steps, coverage)
        _draw_bits(bits, coverage)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return out.getvalue()


def _draw_scales(axes: Axes, coverage: Coverage) -> None:
    """A bar for each range, a tick for each setting, a cross where no level reaches it."""
    for number, item in enumerate(coverage.ranges):
        colour = RANGE_COLOURS[number % len(RANGE_COLOURS)]
        scales = (item.least_scale_vpp, item.most_scale_vpp)
        axes.fill_betweenx([number - BAR, number + BAR], *scales, color=colour, alpha=0.25, linewidth=0)
        if item.gap and number + 1 < len(coverage.ranges):
            ends = (coverage.ranges[number + 1].most_scale_vpp, item.least_scale_vpp)
            axes.plot(ends, [number + 0.5, number + 0.5], color=LIMIT, linewidth=2.0)
            axes.annotate(f"gap {-(item.overlap_db or 0.0):.1f} dB", (ends[1], number + 0.5), color=LIMIT, fontsize=7.5)
    good = [row for row in coverage.rows if row.reachable]
    lost = [row for row in coverage.rows if not row.reachable]
    _ticks(axes, [row.scale_vpp for row in good], good)
    axes.plot([row.scale_vpp for row in lost], [row.coarse for row in lost], "x", color=LIMIT, markersize=4)
    axes.set_xscale("log")
    axes.xaxis.set_major_formatter(lambda scale_vpp, _: _volts(scale_vpp))
    axes.xaxis.set_minor_formatter(lambda scale_vpp, _: "")
    axes.invert_xaxis()
    axes.set_yticks(range(len(coverage.ranges)), [plain(item.name) for item in coverage.ranges])
    axes.set_ylim(len(coverage.ranges) - 0.4, -0.6)
    axes.set_xlabel("full scale at the input, peak to peak" + ("   (x: no level reaches it)" if lost else ""))


def _draw_steps(axes: Axes, coverage: Coverage) -> None:
    rows = [row for row in coverage.rows if row.step_db is not None]
    _ticks(axes, [row.step_db or 0.0 for row in rows], rows)
    axes.axvline(0.0, color=FAINT, linewidth=0.6)
    axes.set_xlabel("fine step, dB")


def _draw_bits(axes: Axes, coverage: Coverage) -> None:
    _ticks(axes, [row.bits_used for row in coverage.rows], coverage.rows)
    axes.set_xlim(*_round_bits([row.bits_used for row in coverage.rows]))
    axes.set_xlabel("bits used")


def _ticks(axes: Axes, places: Sequence[float], rows: Sequence[CoverageRow]) -> None:
    axes.plot(places, [row.coarse for row in rows], "|", color=INK, markersize=9, markeredgewidth=0.7)


def _volts(scale_vpp: float) -> str:
    for unit, size in (("V", 1.0), ("mV", 1e-3), ("µV", 1e-6), ("nV", 1e-9)):
        if scale_vpp >= 0.999 * size:
            return f"{scale_vpp / size:g} {unit}"
    return f"{scale_vpp:g} V"


def _round_bits(bits: Sequence[float]) -> tuple[float, float]:
    return math.floor(min(bits)) - 0.2, math.ceil(max(bits)) + 0.2
