"""Code step and clip level at the input against magnification by name: hardware falls, arithmetic stays level."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from harness.report.figures.against_gain import engineering
from harness.report.figures.canvas import FAINT
from harness.report.figures.panels import Axis, Panel, PanelPoint, panels_svg
from harness.values import Realness, RealnessEvidence, RunResult, SettingResult

COLOURS = {Realness.HARDWARE: "#2f5d8a", Realness.ARITHMETIC: "#a3341f", Realness.MIXED: "#96601f"}
"""All else is faint."""
MARKS: tuple[tuple[str, Callable[[RealnessEvidence], float | None]], ...] = (
    ("dot", lambda evidence: evidence.code_step_in_v),
    ("cross", lambda evidence: evidence.clip_in_vpk),
)
MOST_TICKS = 4


def at_input_svg(result: RunResult) -> str:
    """Code step and clip level of every setting, referred to the input, over those of the least sensitive setting.

    Args:
        result: of a run.
    Returns:
        an `svg` element; empty when nothing is known of any setting.
    """
    channels = sorted({row.setting.channel for row in result.settings})
    panels = {
        channel: _points([row for row in result.settings if row.setting.channel == channel]) for channel in channels
    }
    most = max((point.x for points in panels.values() for point in points), default=1.0)
    if most <= 1.0:
        return ""
    top = 10.0 ** math.ceil(math.log10(most))
    return panels_svg(
        [
            Panel(
                title=f"ch{channel}",
                points=tuple(points),
                lines=((1.0, 1.0, top, 1.0 / top, FAINT), (1.0, 1.0, top, 1.0, FAINT)),
            )
            for channel, points in panels.items()
        ],
        x=_axis(1.0, top, "magnification by name, m"),
        y=_axis(1.0 / top, 2.0, "at the input, relative"),
        label="Code step and clip level at the input against magnification by name, one panel a channel",
    )


def _points(rows: Iterable[SettingResult]) -> list[PanelPoint]:
    """Each quantity over that of the least sensitive setting that has one."""
    ordered = sorted(rows, key=lambda row: row.predicted_codes_per_v)
    points: list[PanelPoint] = []
    for mark, value_of in MARKS:
        known = [(row, value) for row in ordered if row.evidence and (value := value_of(row.evidence))]
        for row, value in known:
            first, reference = known[0]
            # Where the least sensitive setting has no value, the next one stands where its name puts it.
            start = first.predicted_codes_per_v / ordered[0].predicted_codes_per_v
            points.append(
                PanelPoint(
                    x=row.predicted_codes_per_v / ordered[0].predicted_codes_per_v,
                    y=value / reference / start,
                    colour=COLOURS.get(row.realness, FAINT),
                    mark=mark,
                )
            )
    return points


def _axis(low: float, high: float, name: str) -> Axis:
    decades = range(math.ceil(math.log10(low) - 1e-9), math.floor(math.log10(high) + 1e-9) + 1)
    every = -(-(len(decades) - 1) // MOST_TICKS)
    ticks = tuple(
        (10.0**decade, engineering(10.0**decade, unit="") if decade >= 0 else f"{10.0**decade:g}")
        for decade in decades[:: max(every, 1)]
    )
    return Axis(low=low, high=high, ticks=ticks, name=name, logarithmic=True)
