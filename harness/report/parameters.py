"""The fitted law's parameters as text: table F of the page."""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.report import words
from harness.report.figures.heat import share_of_limit
from harness.report.labels import parameter_label
from harness.values import Outcome, ParameterResult, RunResult


@dataclass(frozen=True, slots=True, kw_only=True)
class ParameterLine:
    """One fitted parameter as text."""

    label: str
    channel: int
    name: str
    nominal: str
    estimate: str
    deviation: str
    uncertainty: str
    limits: str
    outcome: Outcome | None
    undecided: str
    """What stands in the place of an outcome where there is none."""
    told: str
    """Whether the readings decide it or a prior does."""
    reason: str


def parameter_lines(result: RunResult) -> tuple[ParameterLine, ...]:
    """What each fitted parameter came out as.

    Args:
        result: of a run.
    Returns:
        one line a parameter, in the order of the result.
    """
    return tuple(_line(row) for row in result.parameters)


def parameter_findings(result: RunResult) -> tuple[ParameterLine, ...]:
    """Which fitted parameters did not pass, the gravest outcome first.

    Args:
        result: of a run.
    Returns:
        all of them; one without a limit cannot be among them.
    """
    wanting = [row for row in result.parameters if row.outcome not in (None, Outcome.PASS)]
    lines = [_line(row) for row in wanting]
    return tuple(sorted(lines, key=lambda line: words.SEVERITY.index(line.outcome or Outcome.PASS)))


def worst_parameter(result: RunResult) -> ParameterLine | None:
    """Which fitted parameter fails the most, against its limit.

    Args:
        result: of a run.
    Returns:
        its line, the first of equals; None when none fails.
    """
    failing = [row for row in result.parameters if row.outcome is Outcome.FAIL]
    worst = max(failing, key=_share, default=None)
    return _line(worst) if worst else None


def _share(row: ParameterResult) -> float:
    low = -math.inf if row.low is None else row.low
    high = math.inf if row.high is None else row.high
    return abs(share_of_limit(row.deviation_percent, (low, high)))


def _line(row: ParameterResult) -> ParameterLine:
    label = parameter_label(row)
    return ParameterLine(
        label=label,
        channel=row.channel,
        name=row.name,
        nominal=words.significant(row.nominal),
        estimate=words.significant(row.estimate),
        deviation=words.percent(row.deviation_percent, digits=3),
        uncertainty=words.percent(row.u_percent, digits=3, signed=False),
        limits=words.limits(row.low, row.high, unit="percent") or words.NOTHING,
        outcome=row.outcome,
        undecided="no limit" if row.low is None and row.high is None else "not exercised",
        told="readings" if row.identifiable else "prior only",
        reason=row.reason.removeprefix(f"{label}: "),
    )
