"""All settings as a file of comma-separated values."""

from __future__ import annotations

import csv
import io

from harness.report.evidence import tests_text
from harness.report.finite import require_finite
from harness.report.labels import fine_name, range_name
from harness.report.words import plain
from harness.values import RealnessEvidence, RunHeader, RunResult, SettingResult

COLUMNS = (
    "run",
    "unit",
    "channel",
    "coarse_index",
    "fine_index",
    "range",
    "fine",
    "setting",
    "outcome",
    "reason",
    "expected_word",
    "captured_words",
    "word_outcome",
    "predicted_codes_per_v",
    "measured_codes_per_v",
    "residual_percent",
    "limit_low_percent",
    "limit_high_percent",
    "guard_percent",
    "up_down_percent",
    "drive_vpk",
    "fill_ratio",
    "offset_code",
    "noise_code",
    "code_spacing",
    "realness",
    "arithmetic_ratio",
    "attempts",
    "fitted_percent",
    "expanded_percent",
    "own_percent",
    "tur_ratio",
    "flags",
    "sinad_db",
    "enob_bits",
    "used_bits",
    "noise_in_v",
    "gap_inner",
    "gap_empty",
    "gap_longest",
    "realness_by_words",
    "realness_by_waveform",
    "waveform_tests",
    "could_tell_ratio",
    "waveform_confidence",
    "contradiction",
    "code_step_in_v",
    "clip_in_vpk",
    "gain_conformance_ratio",
    "gain_consumer_risk_ratio",
    "gain_producer_risk_ratio",
    "thd_db",
    "hum_db",
)
"""Units are in the names; an empty field means that there is no value; new columns come last."""
FIGURES = COLUMNS[COLUMNS.index("sinad_db") : COLUMNS.index("realness_by_words")]
"""Fields of the converter figures."""


def csv_text(header: RunHeader, result: RunResult) -> str:
    """All settings of a run, one row each.

    Args:
        header: of the run.
        result: of the run.
    Returns:
        RFC 4180: a header line, commas, CR LF, quotes where needed; decimal points; full precision.
    Raises:
        NotFinite: a number is NaN or infinite.
    """
    require_finite(result)
    return checked_csv(header, result)


def checked_csv(header: RunHeader, result: RunResult) -> str:
    """As `csv_text`, of a result whose numbers are known to be finite.

    Args:
        header: of the run.
        result: of the run.
    Returns:
        see `csv_text`.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in result.settings:
        writer.writerow([_field(value) for value in _row(header, result, row)])
    return out.getvalue()


def _row(header: RunHeader, result: RunResult, row: SettingResult) -> tuple[object, ...]:
    setting = row.setting
    return (
        header.run_id,
        header.unit,
        setting.channel,
        setting.coarse,
        setting.fine,
        range_name(setting.coarse, result),
        fine_name(setting.fine, result),
        row.label,
        row.outcome,
        row.reason,
        row.expected_word,
        " ".join(row.captured_words),
        row.word_outcome,
        row.predicted_codes_per_v,
        row.measured_codes_per_v,
        row.residual_percent,
        *result.gain_limit_percent,
        result.gain_guard_percent,
        row.up_down_percent,
        row.drive_vpk,
        row.fill_ratio,
        row.offset_code,
        row.noise_code,
        row.code_spacing,
        row.realness,
        row.arithmetic_ratio,
        row.attempts,
        row.fitted_percent,
        row.expanded_percent,
        row.own_percent,
        row.tur_ratio,
        " ".join(row.flags),
        *(None if row.figures is None else getattr(row.figures, name) for name in FIGURES),
        *_evidence(row.evidence),
        row.gain_conformance_ratio,
        row.gain_consumer_risk_ratio,
        row.gain_producer_risk_ratio,
        *(None if row.figures is None else getattr(row.figures, name) for name in ("thd_db", "hum_db")),
    )


def _evidence(evidence: RealnessEvidence | None) -> tuple[object, ...]:
    if evidence is None:
        return (None,) * 8
    return (
        evidence.words,
        evidence.waveform,
        tests_text(evidence.tests),
        evidence.power_m,
        evidence.confidence,
        "yes" if evidence.contradiction else "no",
        evidence.code_step_in_v,
        evidence.clip_in_vpk,
    )


def _field(value: object) -> str:
    return "" if value is None else repr(value) if isinstance(value, float) else plain(str(value))
