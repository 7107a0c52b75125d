"""What a script wants to know of a run, in one object."""

from __future__ import annotations

from typing import Any

from harness.report.arithmetic import arithmetic_ranges, arithmetic_settings
from harness.report.finite import require_finite
from harness.report.labels import labels_of, parameter_label, range_name, step_label
from harness.report.overview import tested
from harness.values import Candidate, Outcome, RunHeader, RunResult


def summary(header: RunHeader, result: RunResult, *, report_path: str) -> dict[str, object]:
    """The run in short, for `--json`.

    Args:
        header: of the run.
        result: of the run.
        report_path: where its page is; empty when none was written.
    Returns:
        an object of plain JSON types, keys in fixed order.
    Raises:
        NotFinite: a number is NaN or infinite.
    """
    require_finite(result)
    labels = labels_of(result)
    worst: dict[str, dict[str, float]] = {}
    for channel, coarse, residual_percent in result.worst:
        worst.setdefault(f"ch{channel}", {})[range_name(coarse, result)] = residual_percent
    return {
        "run": header.run_id,
        "unit": header.unit,
        "verdict": str(result.verdict),
        "complete": result.complete,
        "counts": {str(outcome): number for outcome, number in result.counts},
        "settings": len(result.settings),
        "settings_tested": tested(result),
        "worst_residual_percent": worst,
        "arithmetic_ranges": list(arithmetic_ranges(result)),
        "arithmetic_settings": [row.label for row in arithmetic_settings(result)],
        "failing_settings": [row.label for row in result.settings if row.outcome is Outcome.FAIL],
        "failing_steps": [step_label(s, labels, result) for s in result.steps if s.outcome is Outcome.FAIL],
        "parameters": [
            {
                "channel": row.channel,
                "name": row.name,
                "deviation_percent": row.deviation_percent,
                "u_percent": row.u_percent,
                "expanded_percent": row.expanded_percent,
                "outcome": None if row.outcome is None else str(row.outcome),
            }
            for row in result.parameters
        ],
        "failing_parameters": [parameter_label(p) for p in result.parameters if p.outcome is Outcome.FAIL],
        "candidates": [_candidate(candidate) for candidate in result.candidates],
        "none_of_these": result.none_of_these,
        "not_exercised": list(result.not_exercised),
        "notes": list(result.notes),
        "report": report_path,
    }


def _candidate(candidate: Candidate) -> dict[str, Any]:
    return {
        "id": candidate.id,
        "fault": candidate.fault,
        "why": candidate.why,
        "predicts": candidate.predicts,
        "look": candidate.look,
        "test": candidate.test,
        "confidence_ratio": candidate.confidence_ratio,
        "distance": candidate.distance,
        "ambiguous": list(candidate.ambiguous),
    }
