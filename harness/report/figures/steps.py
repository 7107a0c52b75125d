"""Step residuals: fine steps beside coarse steps, one row a channel."""

from __future__ import annotations

from collections.abc import Mapping

from harness.report.figures.canvas import Edges, draw_limits, inline_svg, look, mark_ranges, scale_percent
from harness.report.figures.places import Places, places_of
from harness.report.figures.points import Point, draw_points
from harness.values import ControlWord, RunResult, Setting, StepResult

PANEL_INCH = 1.35
MARGIN_INCH = 0.9
KINDS = ("fine", "coarse")
Pair = tuple[Setting | None, Setting | None]
"""Lower and upper setting of a step."""


def steps_svg(result: RunResult) -> str:
    """The residual of every step against the law.

    Args:
        result: of a run.
    Returns:
        an `svg` element; empty without steps.
    """
    places = places_of(result)
    if not result.steps or not places.ranges:
        return ""
    words = {row.setting: row.expected_word for row in result.settings}
    with look("steps"):
        from matplotlib.figure import Figure

        height = PANEL_INCH * len(places.channels) + MARGIN_INCH
        figure = Figure(figsize=(11.0, height), layout="constrained")
        panels = figure.subplots(len(places.channels), 2, squeeze=False)
        for column, kind in enumerate(KINDS):
            steps = [step for step in result.steps if step.kind == kind]
            doubts = {
                (one.other, one.setting): one.expanded for one in result.judgements if one.item == f"{kind}-step"
            }
            limits, guard_percent = _limits(result, kind)
            scale = scale_percent([s.residual_percent for s in steps if s.residual_percent is not None], limits)
            for channel, axes in zip(places.channels, panels[:, column], strict=True):
                mark_ranges(axes, places, result, named=channel == places.channels[-1])
                draw_limits(axes, limits, guard_percent)
                mine = [step for step in steps if step.upper.channel == channel]
                draw_points(axes, _points(mine, places, words, doubts), scale_percent=scale)
                axes.set_ylabel(f"ch{channel}  %")
                axes.tick_params(axis="x", labelsize=7.0)
            panels[0, column].set_title(f"{kind} steps", fontsize=9.5, loc="left")
            panels[-1, column].set_xlabel("range of the step's upper setting")
        return inline_svg(figure, label="Residual of every fine and coarse step, one row a channel")


def _points(
    steps: list[StepResult], places: Places, words: Mapping[Setting, ControlWord], doubts: Mapping[Pair, float | None]
) -> list[Point]:
    return [
        Point(
            place=places.of(step.upper),
            value_percent=step.residual_percent,
            outcome=step.outcome,
            coarse=step.upper.coarse,
            half_percent=doubts.get((step.lower, step.upper)),
            ringed=step.kind == "fine" and _large_change(words.get(step.lower), words.get(step.upper)),
        )
        for step in steps
        if (step.upper.coarse, step.upper.fine) in places.at
    ]


def _large_change(lower: ControlWord | None, upper: ControlWord | None) -> bool:
    """Whether one of the word's two highest bits changes: pre-gain, or the major carry of the code."""
    if lower is None or upper is None or lower.bits != upper.bits:
        return False
    return (lower.value ^ upper.value) >> max(lower.bits - 2, 0) != 0


def _limits(result: RunResult, kind: str) -> tuple[Edges, float]:
    """Limits and guard band of a kind of step, percent, as its judgements carry them."""
    for claim in result.judgements:
        if claim.item == f"{kind}-step":
            return (claim.low, claim.high), claim.guard
    return result.step_limit_percent, 0.0
