"""What a test report shows of claims and of the run: properties, cells, pieces of HTML."""

from __future__ import annotations

import html
from collections.abc import Mapping

from harness.app.suite.decided import Decided
from harness.app.suite.ended import Ended
from harness.judge import exit_code
from harness.report import COLUMNS, NOTHING, detail_html, line_cells, run_html

CLAIM = "gainladder_claim"
"""Name of the property that marks the test of a claim."""
MARGIN_KEY = 1_000_000.0
"""Added to a margin, so that its text sorts as the number does."""


def claim_properties(decided: Decided) -> list[tuple[str, str]]:
    """Properties of a claim's test: they reach the JUnit file, the HTML row, and the session from a parallel worker."""
    line = decided.line
    known = [
        (CLAIM, decided.claim.name),
        ("item", line.item),
        ("place", line.place),
        *zip(COLUMNS, line_cells(line), strict=True),
        ("uncertainty", line.uncertainty),
        ("margin_number", "" if line.margin_number is None else repr(line.margin_number)),
    ]
    return [(name, text) for name, text in known if text not in ("", NOTHING)]


def head_cells() -> list[str]:
    """The heads of the columns that claims add, for a table whose rows sort by `data-column-type`."""
    shown = [f'<th class="sortable" data-column-type="{name}">{name.capitalize()}</th>' for name in ("outcome", "item")]
    shown += ["<th>Measured</th>", "<th>U</th>", "<th>Limit</th>"]
    return [*shown, '<th class="sortable" data-column-type="margin">Margin</th>']


def row_cells(known: Mapping[str, object]) -> list[str]:
    """The cells below `head_cells`, from the properties of a test; empty ones for a test that is not about a claim."""

    def text(name: str) -> str:
        return html.escape(str(known.get(name, ""))) if CLAIM in known else ""

    number = text("margin_number")
    key = f'<span hidden="">{MARGIN_KEY + float(number):020.9f}</span>' if number else ""
    return [
        f'<td class="col-outcome">{text("outcome")}</td>',
        f'<td class="col-item">{text("item")}</td>',
        *(f"<td>{text(name)}</td>" for name in ("measured", "uncertainty", "limit")),
        f'<td class="col-margin">{key}{text("margin")}</td>',
    ]


def claim_html(decided: Decided) -> str:
    """Figure and table inside a claim's row."""
    part = decided.part
    return detail_html(decided.judgements, part.result, labels=part.labels, name=decided.claim.name)


def run_properties(ended: Ended) -> list[tuple[str, str]]:
    """Properties of the session: run, verdict, the exit code that the command line would have had, seed, hashes."""
    header = ended.header
    return [
        ("gainladder_run", header.run_id),
        ("gainladder_unit", header.unit),
        ("gainladder_verdict", str(ended.result.verdict)),
        ("gainladder_exit_code", str(int(exit_code(ended.result.verdict)))),
        ("gainladder_seed", "" if header.seed is None else str(header.seed)),
        ("gainladder_ranges", f"{ended.swept} of {ended.planned}"),
        *((f"gainladder_file_{file.role}", f"{file.path} sha256 {file.sha256}") for file in header.files),
    ]


def run_page(ended: Ended) -> str:
    """What stands above the rows of a test report."""
    facts = [("ranges swept", f"{ended.swept} of {ended.planned}")]
    facts += [("rows against the record", "alike" if not ended.differences else "; ".join(ended.differences))]
    return run_html(ended.header, ended.result, facts)
