"""The run's page: one file, nothing from outside, printable."""

from __future__ import annotations

from harness.report import figures, tables, words
from harness.report.budgets import budget_texts
from harness.report.bus_section import bus_section
from harness.report.certificates import instrument_lines
from harness.report.claims import claims, worst_channels, worst_table
from harness.report.converter import path_lines
from harness.report.diagnosis import candidate_lines
from harness.report.downloads import downloads
from harness.report.evidence import evidence_table
from harness.report.finite import require_finite
from harness.report.further import further_figures
from harness.report.overview import overview
from harness.report.paper import paper_table
from harness.report.parameters import parameter_findings, parameter_lines
from harness.report.template import render
from harness.report.trouble import trouble
from harness.values import Event, RunDetail, RunHeader, RunResult

MOST_SETTINGS = 2_000
"""Settings that the appendix prints; of a longer run it would weigh more than all the rest, and nobody reads it."""
MOST_EVENTS = 500
"""Journal lines shown; the rest are counted."""


def html(header: RunHeader, result: RunResult, events: tuple[Event, ...], detail: RunDetail | None = None) -> str:
    """The page of a run.

    Args:
        header: of the run.
        result: of the run.
        events: its journal.
        detail: single records and courses over time; None leaves their figures out.
    Returns:
        an HTML document; the same bytes for the same arguments.
    Raises:
        NotFinite: a number is NaN or infinite.
    """
    require_finite(result)
    measured = any(row.measured_codes_per_v is not None for row in result.settings)
    shown, steps_shown = tables.findings(result), tables.step_findings(result)
    return render(
        "page.html",
        {
            "header": header,
            "result": result,
            "first": overview(header, result),
            "started": words.moment(header.started_utc),
            "measured": measured,
            "residual": figures.residual_svg(result) if measured else "",
            "fitted": figures.has_fitted_row(result),
            "steps": figures.steps_svg(result) if result.steps else "",
            "heat": figures.heat_grids(result) if measured else (),
            "realness": figures.realness_grids(result) if measured else (),
            "at_input": figures.at_input_svg(result),
            "noise": figures.noise_svg(result),
            "offset": figures.offset_svg(result),
            "further": further_figures(result, detail or RunDetail()),
            "trouble": trouble(events),
            "findings": shown[: tables.MOST_ROWS],
            "untried": tables.untried(result),
            "findings_left": max(len(shown) - tables.MOST_ROWS, 0),
            "step_findings": steps_shown[: tables.MOST_ROWS],
            "steps_left": max(len(steps_shown) - tables.MOST_ROWS, 0),
            "candidates": candidate_lines(result),
            "parameter_findings": parameter_findings(result),
            "parameters": parameter_lines(result),
            "budgets": budget_texts(result),
            "paths": path_lines(result),
            "evidence": evidence_table(result),
            "bus": bus_section(result),
            "instruments": instrument_lines(header, result),
            "claims": claims(result),
            "worst_channels": worst_channels(result),
            "worst_table": worst_table(result),
            "events": [(words.moment(event.at_utc), event) for event in events[:MOST_EVENTS]],
            "events_left": max(len(events) - MOST_EVENTS, 0),
            **_appendix(header, result),
        },
    )


def _appendix(header: RunHeader, result: RunResult) -> dict[str, object]:
    columns = tables.columns(result)
    lines = tables.setting_lines(result.settings, result) if len(result.settings) <= MOST_SETTINGS else ()
    return {
        "columns": columns,
        "lines": lines,
        "paper": paper_table(result, lines, columns),
        "files": [(file, tables.short_hash(file)) for file in header.files],
        "downloads": downloads(header, result),
    }
