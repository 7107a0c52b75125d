"""Offset against gain: what grows with it stands before the gain, what does not stands behind."""

from __future__ import annotations

from harness.report.figures.against_gain import draw_marks, log_gain, marks_of, panels_of, whole_decades
from harness.report.figures.canvas import FAINT, inline_svg, look
from harness.values import RunResult


def offset_svg(result: RunResult) -> str:
    """The offset of every setting in codes, against its measured gain.

    Args:
        result: of a run.
    Returns:
        an `svg` element; empty when no setting has both offset and gain.
    """
    marks = marks_of(result, lambda row, _: row.offset_code)
    everything = [mark for group in marks.values() for mark in group]
    if not everything:
        return ""
    with look("offset"):
        figure, panels = panels_of(len(marks))
        gains = whole_decades([mark.gain_codes_per_v for mark in everything])
        for (channel, group), axes in zip(marks.items(), panels, strict=True):
            log_gain(axes, gains)
            axes.axhline(0.0, color=FAINT, linewidth=0.5, zorder=2)
            draw_marks(axes, group, channel=channel)
        figure.supxlabel("measured gain, codes/V", fontsize=9.0)
        figure.supylabel("offset, codes", fontsize=9.0)
        return inline_svg(figure, label="Offset in codes against gain, one panel a channel")
