"""The whole result as one JSON object, a record a line."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable
from typing import Any

from harness.report.evidence import strongest_tests
from harness.report.finite import require_finite
from harness.report.words import plain
from harness.values import ControlWord, Judgement, RunHeader, RunResult, SettingResult, StepResult

SCHEMA = 1
"""Grows when a key changes its meaning or goes; new keys do not change it."""


def json_text(header: RunHeader, result: RunResult) -> str:
    """Everything decided about a run, for programs.

    Args:
        header: of the run.
        result: of the run.
    Returns:
        one JSON object, a line feed at its end; keys in fixed order, a record a line, null for no value.
    Raises:
        NotFinite: a number is NaN or infinite.
    """
    require_finite(result)
    return checked_json(header, result)


def checked_json(header: RunHeader, result: RunResult) -> str:
    """As `json_text`, of a result whose numbers are known to be finite.

    Args:
        header: of the run.
        result: of the run.
    Returns:
        see `json_text`.
    """
    content = {
        "schema": SCHEMA,
        "header": header_record(header),
        "verdict": result.verdict,
        "complete": result.complete,
        "counts": {str(outcome): number for outcome, number in result.counts},
        "limits": {
            "gain_percent": result.gain_limit_percent,
            "gain_guard_percent": result.gain_guard_percent,
            "fine_step_percent": result.step_limit_percent,
        },
        "channel_count": result.channel_count,
        "coarse_names": result.coarse_names,
        "fine_names": result.fine_names,
        "declared_arithmetic": result.declared_arithmetic,
        "notes": result.notes,
        "unmeasured": result.unmeasured,
        "certificates": result.certificates,
        "worst": [{"channel": c, "coarse": r, "residual_percent": worst} for c, r, worst in result.worst],
        "candidates": result.candidates,
        "none_of_these": result.none_of_these,
        "not_exercised": result.not_exercised,
        "settings": [_setting(row) for row in result.settings],
        "steps": [_step(step) for step in result.steps],
        "judgements": [_judgement(claim) for claim in result.judgements],
        "parameters": result.parameters,
        "budgets": result.budgets,
        "flags": result.flags,
        "paths": result.paths,
        "bus": [dataclasses.replace(record, frame=None) for record in result.bus],
    }
    lines = [f"  {_dumps(key)}: {_lines(_plain(value))}" for key, value in content.items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def header_record(header: RunHeader) -> dict[str, Any]:
    """The header of a run, for programs.

    Args:
        header: of the run.
    Returns:
        its fields by name; of the configuration files role, path, version and hash, not the text.
    """
    record: dict[str, Any] = _plain(dataclasses.replace(header, files=(), identities=()))
    record["identities"] = [{"role": role, **_plain(identity)} for role, identity in header.identities]
    record["files"] = [
        {"role": file.role, "path": file.path, "version": file.version, "sha256": file.sha256} for file in header.files
    ]
    return record


def _setting(row: SettingResult) -> SettingResult:
    """A setting with its evidence; of several tests of one name the strongest."""
    if row.evidence is None:
        return row
    trimmed = dataclasses.replace(row.evidence, tests=strongest_tests(row.evidence.tests))
    return dataclasses.replace(row, evidence=trimmed)


def _judgement(claim: Judgement) -> dict[str, Any]:
    """A judgement with the risk that its rule leaves."""
    risks = {"consumer_risk_ratio": claim.consumer_risk_ratio, "producer_risk_ratio": claim.producer_risk_ratio}
    return {**_plain(claim), **risks}


def _step(step: StepResult) -> StepResult:
    """A step with its evidence, but without the single tests: they are those of its two settings once more."""
    if step.evidence is None:
        return step
    return dataclasses.replace(step, evidence=dataclasses.replace(step.evidence, tests=()))


def _plain(value: Any) -> Any:
    if isinstance(value, ControlWord):
        return {"latch": plain(value.latch), "bits": value.bits, "value": value.value, "text": plain(str(value))}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, str):
        return plain(str(value))
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, Iterable):
        return [_plain(item) for item in value]
    return value


def _lines(value: Any) -> str:
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return "[\n" + ",\n".join(f"    {_dumps(item)}" for item in value) + "\n  ]"
    return _dumps(value)


def _dumps(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
