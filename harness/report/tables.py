"""Rows of the page's tables: formatted cells, nothing computed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harness.report import words
from harness.report.claims import limits_by_item
from harness.report.converter import FigureCells, figure_cells
from harness.report.labels import labels_of, step_label
from harness.values import ConfigFile, Outcome, RunResult, Setting, SettingResult

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
    fitted: str
    expanded: str
    own: str
    margin: str
    """Distance of the absolute gain to its nearest limit."""
    tur: str
    flags: str
    figures: FigureCells


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Which columns the tables of settings have beyond the usual ones: those with a value somewhere."""

    fitted: bool
    expanded: bool
    own: bool
    margin: bool
    tur: bool
    flags: bool
    figures: bool
    thd: bool
    hum: bool


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


def columns(result: RunResult) -> Columns:
    """Which further columns the tables of settings need.

    Args:
        result: of a run.
    Returns:
        for each whether any setting has a value.
    """
    rows = result.settings
    return Columns(
        fitted=any(row.fitted_percent is not None for row in rows),
        expanded=any(row.expanded_percent is not None for row in rows),
        own=any(row.own_percent is not None for row in rows),
        margin=bool(margins(result)),
        tur=any(row.tur_ratio is not None for row in rows),
        flags=any(row.flags for row in rows),
        figures=any(row.figures is not None for row in rows),
        thd=any(row.figures is not None and row.figures.thd_db is not None for row in rows),
        hum=any(row.figures is not None and row.figures.hum_db is not None for row in rows),
    )


def margins(result: RunResult) -> Mapping[Setting, float]:
    """How far inside its limits the absolute gain of each setting is, percent.

    Args:
        result: of a run.
    Returns:
        margin by setting, negative outside; from the claims on gain, so a setting without one is not in it.
    """
    claims = (claim for claim in result.judgements if claim.item == "gain" and claim.unit == "percent")
    return {claim.setting: claim.margin for claim in claims if claim.setting and claim.margin is not None}


def setting_lines(rows: Sequence[SettingResult], result: RunResult) -> tuple[SettingLine, ...]:
    """How settings read.

    Args:
        rows: some of the result's settings.
        result: of the run.
    Returns:
        the cells of each.
    """
    known = margins(result)
    return tuple(_setting_line(row, known.get(row.setting)) for row in rows)


def _setting_line(row: SettingResult, margin_percent: float | None) -> SettingLine:
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
        reason=words.told(row.reason.removeprefix(f"{row.label}: ")),
        fitted=words.percent(row.fitted_percent),
        expanded=words.percent(row.expanded_percent, signed=False),
        own=words.percent(row.own_percent, digits=3, signed=False),
        margin=words.percent(margin_percent),
        tur=words.ratio(row.tur_ratio),
        flags=", ".join(row.flags),
        figures=figure_cells(row.figures),
    )


def findings(result: RunResult) -> tuple[SettingLine, ...]:
    """Which settings were tried and did not pass, the gravest outcome first.

    Args:
        result: of a run.
    Returns:
        all of them; the page shows the first MOST_ROWS.
    """
    return setting_lines(_gravest_first([row for row in result.settings if row.attempts]), result)


def untried(result: RunResult) -> int:
    """How many settings were never tried: a run that ended early has nothing to say of each.

    Args:
        result: of a run.
    Returns:
        their number.
    """
    return sum(row.attempts == 0 for row in result.settings)


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
                reason=words.told(step.reason.removeprefix(f"{label}: ")),
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
