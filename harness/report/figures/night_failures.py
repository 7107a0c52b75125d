"""Each new failure of a night: its residual over the hours, against its limits."""

from __future__ import annotations

from collections.abc import Sequence

from harness.report.figures.canvas import FAINT, inline_svg, look
from harness.values import NightFailure

MOST_PANELS = 12
COLUMNS = 3
PASSED, FAILED, LIMIT = "#3b6ea5", "#a3341f", "#777777"


def failures_svg(failures: Sequence[NightFailure]) -> str:
    """A panel for each failure, the first of them only.

    Args:
        failures: those to be shown, most telling first.
    Returns:
        an `svg` element; empty when none of them has a residual to draw.
    """
    shown = [failure for failure in failures if failure.course][:MOST_PANELS]
    if not shown:
        return ""
    from matplotlib.figure import Figure

    rows = -(-len(shown) // COLUMNS)
    with look("night-failures"):
        figure = Figure(figsize=(9.0, 0.4 + 1.7 * rows), layout="constrained")
        axes = figure.subplots(rows, min(COLUMNS, len(shown)), sharex=True, squeeze=False).ravel()
        for ax, failure in zip(axes, shown, strict=False):
            for edge in failure.limit_percent:
                if edge is not None:
                    ax.axhline(edge, color=LIMIT, linewidth=0.8, linestyle="--")
            for failed, colour, marker in ((False, PASSED, "."), (True, FAILED, "x")):
                points = [(hours, percent) for hours, percent, bad in failure.course if bad is failed]
                ax.plot(
                    [hours for hours, _ in points], [percent for _, percent in points],
                    color=colour, marker=marker, markersize=4.0, linestyle="none",
                )  # fmt: skip
            ax.set_title(f"{failure.unit} {failure.label}", fontsize=8.0)
            ax.grid(axis="y", color=FAINT, linewidth=0.3)
            ax.tick_params(labelsize=7.0)
        for ax in axes[len(shown) :]:
            ax.set_visible(False)
        figure.supxlabel("hours since the night began", fontsize=8.0)
        figure.supylabel("residual, %", fontsize=8.0)
        return inline_svg(figure, label="Residual of each new failure over the night, with its limits; a cross fails")
