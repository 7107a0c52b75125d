"""The page of a lot: many units of one device, each with its last run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.report import words
from harness.report.figures.others import Strip
from harness.report.figures.population import Mark, population_svg
from harness.report.figures.strip import StripPoint, strip_svg
from harness.report.finite import require_finite
from harness.report.overview import tested, worst_setting
from harness.report.template import render
from harness.values import Outcome, ParameterResult, RunHeader, RunResult

MOST_DRAWN = 30
"""Units whose every setting is drawn, the last ones."""
OTHERS, LAST, BAD = "#a9b1b6", "#16406f", "#a3341f"

Run = tuple[RunHeader, RunResult]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitLine:
    """One unit as text."""

    unit: str
    verdict: Outcome
    complete: bool
    started: str
    run: str
    failing: int
    tested: int
    worst: str
    worst_label: str
    cause: str


def lot_html(runs: Sequence[Run], left_out: Sequence[tuple[str, str]]) -> str:
    """The page of a lot.

    Args:
        runs: header and result of each unit's last run, oldest first, at least one; all of one job and one device.
        left_out: run id and reason of each run of the store that is not on the page.
    Returns:
        an HTML document; the same bytes for the same arguments.
    Raises:
        NotFinite: a number is NaN or infinite.
    """
    for _, result in runs:
        require_finite(result)
    last_header, last = runs[-1]
    verdicts = [result.verdict for _, result in runs]
    label = "Residual of every setting of the last units, the last unit and failing settings marked"
    return render(
        "lot.html",
        {
            "header": last_header,
            "device": _device(last_header),
            "job": next((file.path for file in last_header.files if file.role == "job"), words.NOTHING),
            "since": words.span(words.moment(runs[0][0].started_utc), words.moment(last_header.started_utc)),
            "counts": [(outcome, verdicts.count(outcome)) for outcome in words.SEVERITY],
            "units": [_line(header, result) for header, result in reversed(runs)],
            "drawn": min(len(runs), MOST_DRAWN),
            "limits": words.limits(*last.gain_limit_percent, unit="percent"),
            "figure": population_svg(_marks(runs), last, limits=last.gain_limit_percent, label=label, name="residual"),
            "strips": _trends(runs),
            "left_out": left_out,
        },
    )


def _device(header: RunHeader) -> str:
    known = dict(header.identities).get("device")
    return f"{known.manufacturer} {known.model}" if known else "A device that was not identified"


def _marks(runs: Sequence[Run]) -> list[Mark]:
    marks: list[Mark] = []
    for number, (_, result) in enumerate(runs[-MOST_DRAWN:], start=1):
        own = LAST if number == min(len(runs), MOST_DRAWN) else OTHERS
        for row in result.settings:
            if row.residual_percent is not None:
                failed = row.outcome is Outcome.FAIL
                marks.append((row.setting, row.residual_percent, BAD if failed else own, "cross" if failed else "dot"))
    return marks


def _trends(runs: Sequence[Run]) -> tuple[Strip, ...]:
    """Each fitted parameter over the units, oldest first."""
    found: dict[tuple[int, str], list[StripPoint]] = {}
    for header, result in runs:
        for row in result.parameters:
            if row.identifiable:
                found.setdefault((row.channel, row.name), []).append(_point(header, row))
    return tuple(
        Strip(
            title=f"ch{channel} {name}",
            svg=strip_svg(points, unit="%", label=f"{name} of channel {channel} over the units, oldest first"),
        )
        for (channel, name), points in sorted(found.items())
    )


def _point(header: RunHeader, row: ParameterResult) -> StripPoint:
    return StripPoint(
        label=f"unit {header.unit}, ch{row.channel} {row.name}",
        short=header.unit,
        value=row.deviation_percent,
        low=row.low,
        high=row.high,
        guard=row.guard,
        outcome=row.outcome or Outcome.PASS,
        half=2.0 * row.u_percent if row.expanded_percent is None else row.expanded_percent,
    )


def _line(header: RunHeader, result: RunResult) -> UnitLine:
    worst = worst_setting(result)
    return UnitLine(
        unit=header.unit,
        verdict=result.verdict,
        complete=result.complete,
        started=words.moment(header.started_utc),
        run=header.run_id,
        failing=sum(row.outcome is Outcome.FAIL for row in result.settings),
        tested=tested(result),
        worst=words.percent(worst.residual_percent if worst else None),
        worst_label=worst.label if worst else words.NOTHING,
        cause=result.candidates[0].fault if result.candidates and result.verdict is not Outcome.PASS else "",
    )
