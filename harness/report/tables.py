"""Rows of the page's tables: formatted cells, nothing computed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.report import words
from harness.report.claims import limits_by_item
from harness.report.labels import labels_of, step_label
from harness.values import ConfigFile, Outcome, RunResult, SettingResult

MOST_ROWS = 100
"""Of failing settings, and again of failing steps; the rest are counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingLine:
    """One setting as text."""

    label: str
    outcome: Outcome
    expected: str
    captured: str
    word_outcome: Outcome | None
    predicted: str
    measured: str
    residual: str
    up_down: str
    drive: str
    fill: str
    offset: str
    noise: str
    spacing: str
    realness: str
    attempts: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StepLine:
    """One step as text."""

    label: str
    kind: str
    outcome: Outcome
    predicted: str
    measured: str
    residual: str
    limits: str
    realness: str
    word: str
    reason: str


def setting_line(row: SettingResult) -> SettingLine:
    """How one setting reads.

    Args:
        row: of the result.
    Returns:
        its cells.
    """
    fill_percent = None if row.fill_ratio is None else 100.0 * row.fill_ratio
    arithmetic = "" if row.arithmetic_ratio == 1.0 else f" ×{row.arithmetic_ratio:.4g}"
    return SettingLine(
        label=row.label,
        outcome=row.outcome,
        expected=str(row.expected_word),
        captured=", ".join(row.captured_words) or words.NOTHING,
        word_outcome=row.word_outcome,
        predicted=words.significant(row.predicted_codes_per_v),
        measured=words.significant(row.measured_codes_per_v),
        residual=words.percent(row.residual_percent),
        up_down=words.percent(row.up_down_percent),
        drive=words.volts(row.drive_vpk),
        fill=words.percent(fill_percent, digits=0, signed=False),
        offset=words.decimal(row.offset_code, digits=1, signed=True),
        noise=words.decimal(row.noise_code),
        spacing=words.NOTHING if row.code_spacing is None else str(row.code_spacing),
        realness=f"{row.realness}{arithmetic}",
        attempts=row.attempts,
        reason=row.reason.removeprefix(f"{row.label}: "),
    )


def findings(result: RunResult) -> tuple[SettingLine, ...]:
    """Which settings did not pass, the gravest outcome first.

    Args:
        result: of a run.
    Returns:
        all of them; the page shows the first MOST_ROWS.
    """
    return tuple(setting_line(row) for row in _gravest_first(result.settings))


def step_findings(result: RunResult) -> tuple[StepLine, ...]:
    """Which steps did not pass, the gravest outcome first.

    Args:
        result: of a run.
    Returns:
        all of them; the page shows the first MOST_ROWS.
    """
    labels = labels_of(result)
    told = limits_by_item(result)
    lines = []
    for step in result.steps:
        if step.outcome is Outcome.PASS:
            continue
        changed = {None: "", True: "new word", False: "same word"}[step.word_changed]
        label = step_label(step, labels, result)
        lines.append(
            StepLine(
                label=label.replace(f" to ch{step.upper.channel} ", " to "),
                kind=step.kind,
                outcome=step.outcome,
                predicted=f"×{words.significant(step.predicted_ratio)}",
                measured=words.NOTHING if step.measured_ratio is None else f"×{words.significant(step.measured_ratio)}",
                residual=words.percent(step.residual_percent),
                limits=told.get(f"{step.kind}-step", words.NOTHING),
                realness=str(step.realness),
                word=changed,
                reason=step.reason.removeprefix(f"{label}: "),
            )
        )
    return tuple(sorted(lines, key=lambda line: words.SEVERITY.index(line.outcome)))


def _gravest_first(rows: Sequence[SettingResult]) -> list[SettingResult]:
    wanting = [row for row in rows if row.outcome is not Outcome.PASS]
    return sorted(wanting, key=lambda row: words.SEVERITY.index(row.outcome))


def short_hash(file: ConfigFile) -> str:
    """How a file's hash is printed.

    Args:
        file: a configuration file.
    Returns:
        the first twelve hexadecimal digits.
    """
    return file.sha256[:12]
