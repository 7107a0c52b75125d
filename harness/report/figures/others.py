"""Claims with numbers that no figure of their own shows: each against its limits; and the fitted parameters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from harness.report.claim_line import place_of
from harness.report.figures.strip import StripPoint, strip_svg
from harness.report.labels import fine_name, range_name
from harness.report.words import sign
from harness.values import Judgement, Outcome, ParameterResult, RunResult, Setting

DRAWN = ("gain", "residual", "fine-step", "coarse-step", "parameter", "bus-timing", "missing-codes")
"""Claims that have figures of their own, or one number a channel."""
MOST_POINTS = 300
"""Of one strip; a claim with more keeps its table."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """One strip with its heading."""

    title: str
    svg: str


def other_strips(result: RunResult, labels: Mapping[Setting, str]) -> tuple[Strip, ...]:
    """The claims with numbers that no other figure shows.

    Args:
        result: of a run.
        labels: from `labels_of`.
    Returns:
        one strip a claim and channel, in order of the claims; the channels of one side by side.
    """
    groups: dict[tuple[str, int], list[Judgement]] = {}
    for one in result.judgements:
        if one.item not in DRAWN and one.measured is not None:
            groups.setdefault((one.item, one.setting.channel if one.setting else 0), []).append(one)
    strips = []
    items = list(dict.fromkeys(item for item, _ in groups))
    for item, channel in sorted(groups, key=lambda key: (items.index(key[0]), key[1])):
        group = groups[item, channel]
        units = {one.unit for one in group}
        if len(units) == 1 and len(group) <= MOST_POINTS:
            where = f"ch{channel}" if channel else "run"
            title = f"{item}, {where}"
            points = [_point(one, result, labels) for one in group]
            unit = sign(units.pop())
            svg = strip_svg(points, unit=unit, label=f"{title}: measured against limits")
            strips.append(Strip(title=title, svg=svg))
    return tuple(strips)


def parameter_strips(result: RunResult) -> tuple[Strip, ...]:
    """The deviation of every fitted parameter with twice its standard uncertainty, against its limits.

    Args:
        result: of a run.
    Returns:
        one strip a channel, parameters in the order of the result; those that only a prior tells are left out.
    """
    channels = dict.fromkeys(row.channel for row in result.parameters)
    return tuple(
        Strip(title=f"ch{channel}", svg=strip_svg(points, unit="%", label=f"Fitted parameters of channel {channel}"))
        for channel in channels
        if (points := [_bar(row) for row in result.parameters if row.channel == channel and row.identifiable])
    )


def _point(one: Judgement, result: RunResult, labels: Mapping[Setting, str]) -> StripPoint:
    at = one.setting
    return StripPoint(
        label=place_of(one, result, labels) or one.item,
        short=f"{range_name(at.coarse, result)} {fine_name(at.fine, result)}" if at else "",
        value=one.measured or 0.0,
        low=one.low,
        high=one.high,
        guard=one.guard,
        outcome=one.outcome,
        half=one.expanded,
    )


def _bar(row: ParameterResult) -> StripPoint:
    return StripPoint(
        label=f"ch{row.channel} {row.name}",
        short=row.name,
        value=row.deviation_percent,
        low=row.low,
        high=row.high,
        guard=row.guard,
        outcome=row.outcome or Outcome.PASS,
        half=2.0 * row.u_percent if row.expanded_percent is None else row.expanded_percent,
    )
