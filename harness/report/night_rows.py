"""Failures of a night as lines: settings of a channel that fail in the same corners stand in one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.report import words
from harness.values import NightFailure

FEW = 3
"""Up to so many settings each has a line of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FailureRow:
    """One line of the table."""

    unit: str
    settings: str
    """One setting, or how many of a channel."""
    runs: int
    """Most runs of one of them."""
    worst: str
    """Residual in percent, or from where to where."""
    corners: tuple[str, ...]
    reason: str
    """Of the one that is furthest off."""
    furthest: NightFailure


def failure_rows(failures: Sequence[NightFailure]) -> tuple[FailureRow, ...]:
    """The lines of a list of failures.

    Args:
        failures: in the order in which they are to stand.
    Returns:
        those of one unit and channel with the same corners, all too high or all too low, in one line if they are many;
        the lines with the most settings first.
    """
    groups: dict[tuple[str, str, tuple[str, ...], bool], list[NightFailure]] = {}
    for failure in failures:
        channel = failure.label.split(" ", 1)[0]
        groups.setdefault((failure.unit, channel, failure.corners, (failure.worst_percent or 0.0) < 0.0), []).append(
            failure
        )
    rows: list[tuple[int, FailureRow]] = []
    for (_, channel, _, _), group in groups.items():
        parts = [group] if len(group) > FEW else [[one] for one in group]
        rows += [(len(part), _row(channel, part)) for part in parts]
    return tuple(row for _, row in sorted(rows, key=lambda pair: -pair[0]))


def _row(channel: str, group: Sequence[NightFailure]) -> FailureRow:
    furthest = max(group, key=lambda failure: abs(failure.worst_percent or 0.0))
    name = group[0].label
    if len(group) > 1:
        shortened = [failure.label.removeprefix(f"{channel} ") for failure in group]
        name = f"{channel}: {len(group)} settings, such as {shortened[0]}, {shortened[-1]}"
    return FailureRow(
        unit=furthest.unit,
        settings=name,
        runs=max(failure.count for failure in group),
        worst=_span([failure.worst_percent for failure in group if failure.worst_percent is not None]),
        corners=furthest.corners,
        reason=furthest.reason,
        furthest=furthest,
    )


def _span(percents: Sequence[float]) -> str:
    if not percents:
        return "–"
    low, high = f"{min(percents):+.4g}", f"{max(percents):+.4g}"
    return words.span(low, high).replace("-", words.MINUS)
