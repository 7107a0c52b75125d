"""The page of a night: read at eight in the morning, by somebody who was asleep."""

from __future__ import annotations

import re
from dataclasses import dataclass

from harness.report import words
from harness.report.figures.night import night_svg
from harness.report.figures.night_failures import MOST_PANELS, failures_svg
from harness.report.night_rows import FailureRow, failure_rows
from harness.report.template import render
from harness.values import NightResult, NightRunRow, Outcome

MOST_LINES = 60
"""Failures and differences shown; the rest are counted."""
MOST_CYCLES = 4
"""More cycles than this stand in one cell each corner, with how many of them are over and how many not sound."""
CLOSE_RATIO = 0.7
"""From this share of a limit on a cell is marked as close to it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatCell:
    """One cycle of one corner of one unit."""

    text: str
    """Worst residual over its limit; a dash where nothing was measured."""
    mark: str
    """In words and by class: ok, close, over, none."""
    title: str
    run_id: str


def night_html(night: NightResult, *, software: str) -> str:
    """The page of a night.

    Args:
        night: the whole night.
        software: version that made the page.
    Returns:
        an HTML document; the same bytes for the same arguments.
    """
    cycles = sorted({row.cycle for row in night.runs})
    new = failure_rows([f for f in night.failures if f.new])
    return render(
        "night.html",
        {
            "night": night,
            "software": software,
            "began": words.moment(night.began_utc) if night.began_utc else "",
            "ended": words.moment(night.ended_utc) if night.ended_utc else "",
            "heat": [_line(night, unit, visit, corner, cycles)
                     for unit in night.units for visit, corner in _visits(night, unit)],
            "cycles": cycles,
            "new": new[:MOST_LINES],
            "old": failure_rows([f for f in night.failures if not f.new])[:MOST_LINES],
            "more": max(len(new) - MOST_LINES, 0),
            "figure": night_svg(night),
            "new_count": sum(f.new for f in night.failures) or "No",
            "failing": failures_svg([row.furthest for row in new]),
            "panels": MOST_PANELS,
            "folded": len(cycles) > MOST_CYCLES,
            "against": night.against[:MOST_LINES],
            "against_more": max(len(night.against) - MOST_LINES, 0),
            "number": _number,
            "where": lambda failure: _where(failure, night),
        },
    )  # fmt: skip


def _visits(night: NightResult, unit: str) -> list[tuple[int, str]]:
    return list(dict.fromkeys((row.visit, row.corner) for row in night.runs if row.unit == unit))


def _line(
    night: NightResult, unit: str, visit: int, corner: str, cycles: list[int]
) -> tuple[str, str, list[HeatCell], HeatCell]:
    """A corner of a unit: all its cycles, and the one to look at first: over, not sound, nearest to its limit."""
    cells = [_cell(night, unit, visit, cycle) for cycle in cycles]
    return unit, corner, cells, max(cells, key=lambda cell: (cell.mark == "over", cell.mark == "none", cell.text))


def _cell(night: NightResult, unit: str, visit: int, cycle: int) -> HeatCell:
    row = next((r for r in night.runs if (r.unit, r.visit, r.cycle) == (unit, visit, cycle)), None)
    if row is None:
        return HeatCell(text="–", mark="none", title="not begun", run_id="")
    if row.worst_ratio is None:
        return HeatCell(text="–", mark="none", title=f"{row.verdict}, {row.end or 'no end'}", run_id=row.run_id)
    size = abs(row.worst_ratio)
    return HeatCell(text=f"{size:.2f}", mark=_mark(row, size), title=_title(row), run_id=row.run_id)


def _mark(row: NightRunRow, size: float) -> str:
    if row.verdict is Outcome.FAIL or size > 1.0:
        return "over"
    if row.verdict is not Outcome.PASS or row.end != "finished":
        return "none"
    return "close" if size > CLOSE_RATIO else "ok"


def _title(row: NightRunRow) -> str:
    warm = "" if row.probe_c is None else f", unit at {row.probe_c:.1f} °C"
    settled = "" if row.settled else ", NOT settled"
    return f"{row.verdict}, {row.end or 'no end'}: {row.worst_label}{warm}{settled}"


def _where(row: FailureRow, night: NightResult) -> str:
    everywhere = len(night.corners) > 1 and set(row.corners) >= set(night.corners)
    return "all" if everywhere else "; ".join(row.corners)


def _number(value: float | None, digits: int = 4) -> str:
    if value is None:
        return "–"
    text = f"{value:.0f}" if 10.0**digits <= abs(value) < 1e6 else f"{value:.{digits}g}"
    return re.sub("^-", words.MINUS, text)
