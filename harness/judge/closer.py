"""Single records looked at closely: the codes that arithmetic leaves out, what the worst one holds beside its sine."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from harness.amplitude.sine import sine_of
from harness.config import Acquisition
from harness.errors import MeasureError
from harness.judge.record_fit import fit_record
from harness.judge.waveform import ROUNDINGS, reach
from harness.values import (
    CodeCounts,
    Outcome,
    Reading,
    Realness,
    RecordResidual,
    RunResult,
    SettingResult,
    db_from_ratio,
)

SUSPICIOUS = (Realness.FAULT, Realness.MIXED, Realness.ARITHMETIC)
WINDOW = 64
"""Codes shown of a histogram."""
BUCKETS = 240
"""Places at which the residual and its spectrum are shown."""
FLOOR_DB = -140.0


def suspicious_setting(result: RunResult) -> SettingResult | None:
    """Whose codes are worth a look.

    Args:
        result: of a run.
    Returns:
        the first setting with a part by arithmetic above 1, one that nobody declared before the declared ones; None
        without any.
    Source:
        practice: proof of arithmetic by the codes that it leaves empty.
    """
    found = [row for row in result.settings if row.realness in SUSPICIOUS and row.arithmetic_ratio > 1.0]
    return min(found, key=lambda row: row.setting.coarse in result.declared_arithmetic, default=None)


def worst_measured(result: RunResult) -> SettingResult | None:
    """Whose record is worth a look.

    Args:
        result: of a run.
    Returns:
        the setting with the largest residual, among those that fail where any does; None without a gain.
    Source:
        none: a choice for the page.
    """
    known = [row for row in result.settings if row.residual_percent is not None]
    return max(known, key=lambda row: (row.outcome is Outcome.FAIL, abs(row.residual_percent or 0.0)), default=None)


def code_counts(reading: Reading, row: SettingResult) -> CodeCounts | None:
    """The codes in the middle of a record.

    Args:
        reading: with a record.
        row: its setting, whose factor is above 1.
    Returns:
        the counts; None without a record of so many codes.
    Source:
        counting; see `reach` for the codes that arithmetic leaves empty.
    """
    if reading.waveform is None or reading.waveform.codes.size == 0:
        return None
    codes = reading.waveform.codes.astype(np.int64)
    first = (int(codes.min()) + int(codes.max())) // 2 - WINDOW // 2
    if first < codes.min() or first + WINDOW > codes.max():
        return None
    counts = np.bincount(codes - int(codes.min()))[first - int(codes.min()) :][:WINDOW]
    patterns = [
        reach(row.arithmetic_ratio, rounding, low=first, high=first + WINDOW - 1) == 0 for _, rounding in ROUNDINGS
    ]
    empty = min(patterns, key=lambda pattern: int(counts[pattern].sum()))
    return CodeCounts(
        label=row.label,
        found=str(row.realness),
        factor=row.arithmetic_ratio,
        first=first,
        counts=tuple(counts.tolist()),
        empty=tuple(empty.tolist()),
    )


def record_residual(reading: Reading, row: SettingResult, acquisition: Acquisition) -> RecordResidual | None:
    """What a record holds beside its sine, over the phase and over the frequency.

    Args:
        reading: with a record.
        row: its setting.
        acquisition: of the device: the fit is the one that was judged.
    Returns:
        the residual, with the lines that the fit took along; None without a record that a sine can be fitted to.
    Source:
        fit_record; spectrum by a Hann window, one line scaled to its amplitude.
    """
    wave = reading.waveform
    if wave is None:
        return None
    try:
        found = fit_record(
            wave, read_hz=reading.frequency_hz, planned_hz=acquisition.frequency_hz, terms=acquisition.fit
        )
    except MeasureError:
        return None
    fit, rate_hz = found.fit, wave.sample_rate_hz
    if not fit.amplitude_code > 0.0:
        return None
    samples = wave.codes.astype(np.float64)
    residual = samples - fit.offset_code - sine_of(fit, sample_rate_hz=rate_hz, frequency_hz=found.frequency_hz)
    turns: Floats = found.frequency_hz / rate_hz * np.arange(samples.size, dtype=np.float64)
    phase: Floats = np.mod(turns + fit.phase_rad / (2.0 * math.pi), 1.0)
    return RecordResidual(
        label=row.label,
        residual_percent=row.residual_percent or 0.0,
        envelope=_envelope(phase, residual),
        spectrum=_spectrum(residual, rate_hz, fit.amplitude_code),
    )


Floats = npt.NDArray[np.float64]


def _envelope(phase: Floats, residual: Floats) -> tuple[tuple[float, float, float], ...]:
    place = np.minimum((phase * BUCKETS).astype(np.int64), BUCKETS - 1)
    least, most = np.full(BUCKETS, np.inf), np.full(BUCKETS, -np.inf)
    np.minimum.at(least, place, residual)
    np.maximum.at(most, place, residual)
    return tuple(
        ((index + 0.5) / BUCKETS, float(least[index]), float(most[index])) for index in np.unique(place).tolist()
    )


def _spectrum(residual: Floats, sample_rate_hz: float, amplitude_code: float) -> tuple[tuple[float, float], ...]:
    window = np.hanning(residual.size)
    lines = 2.0 * np.abs(np.fft.rfft(residual * window)) / window.sum()
    pieces = np.array_split(np.arange(1, lines.size), min(BUCKETS, max(lines.size - 1, 1)))
    best = [int(piece[np.argmax(lines[piece])]) for piece in pieces if piece.size]
    return tuple(
        (
            index * sample_rate_hz / residual.size,
            max(db_from_ratio(max(float(lines[index]) / amplitude_code, 1e-12)), FLOOR_DB),
        )
        for index in best
    )
