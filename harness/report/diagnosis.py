"""The candidates of the diagnosis as text: table G of the page, and a file for programs."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

from harness.report.finite import require_finite
from harness.report.words import plain
from harness.values import Candidate, RunHeader, RunResult

COLUMNS = (
    "run",
    "unit",
    "rank",
    "id",
    "fault",
    "confidence_ratio",
    "distance",
    "why",
    "predicts",
    "look",
    "test",
    "ambiguous",
)
"""New columns come last."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CandidateLine:
    """One candidate as text."""

    name: str
    """Id and name."""
    confidence: str
    why: str
    predicts: str
    look: str
    test: str
    ambiguous: str
    """Faults that the readings cannot tell from it; empty for none."""


def candidate_lines(result: RunResult) -> tuple[CandidateLine, ...]:
    """What may be wrong, the likeliest first.

    Args:
        result: of a run.
    Returns:
        one line a candidate.
    """
    return tuple(_line(candidate) for candidate in result.candidates)


def _line(candidate: Candidate) -> CandidateLine:
    share = candidate.confidence_ratio
    return CandidateLine(
        name=f"{candidate.id} {candidate.fault}".strip(),
        confidence="not compared" if share is None else f"{100.0 * share:.3g} %",
        why=candidate.why,
        predicts=candidate.predicts,
        look=candidate.look,
        test=candidate.test,
        ambiguous=", ".join(candidate.ambiguous),
    )


def diagnosis_csv(header: RunHeader, result: RunResult) -> str:
    """The candidates of a run, one row each.

    Args:
        header: of the run.
        result: of the run.
    Returns:
        RFC 4180: a header line, commas, CR LF, quotes where needed; decimal points; full precision.
    Raises:
        NotFinite: a number is NaN or infinite.
    """
    require_finite(result)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for rank, candidate in enumerate(result.candidates, start=1):
        cells = (candidate.id, candidate.fault, candidate.confidence_ratio, candidate.distance, candidate.why)
        more = (candidate.predicts, candidate.look, candidate.test, " ".join(candidate.ambiguous))
        values = (header.run_id, header.unit, rank, *cells, *more)
        writer.writerow([_cell(value) for value in values])
    return text.getvalue()


def _cell(value: str | float | None) -> str | float:
    if value is None:
        return ""
    return plain(value) if isinstance(value, str) else value
