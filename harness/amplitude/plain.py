"""Whether a record holds plain samples, or averaged or interpolated ones."""

from __future__ import annotations

import math

import numpy as np

from harness.amplitude.flags import Flag
from harness.amplitude.sine import Floats, Samples, checked_samples, fit_sine3
from harness.errors import FitFailed

FACTORS = (2, 3, 4, 5, 8, 10)
"""Interpolation factors that instruments use."""
LEAST_SAMPLES = 200
HELD = 0.98
"""Share of held samples that equal their neighbour; between groups fewer than MOVING may."""
MOVING = 0.5
CORRELATION_NOISE_CODE = 0.35
"""Below this residual the error of rounding itself may be correlated, so that nothing can be concluded."""
LARGEST_CORRELATION = 0.1
SIGNIFICANT = 5.0
"""Standard deviations: one false alarm in a million records."""


def processed_samples(samples: Samples, *, sample_rate_hz: float, frequency_hz: float) -> tuple[Flag, ...]:
    """Whether samples are not plain ones: fractions of codes, inserted samples, correlated noise.

    An averaged record rounded back to codes leaves none of these signs: read back the acquisition mode as well.

    Args:
        samples: shape (n,), n >= 200, codes as the device sent them.
        sample_rate_hz: samples a second, > 0.
        frequency_hz: of the signal, 0 < frequency_hz < sample_rate_hz / 2.
    Returns:
        the flags: non-integer-codes, repeated-samples, interpolated-samples (invalid), correlated-noise (flag).
    Raises:
        NotFinite: as fit_sine3.
        TooFewCycles: as fit_sine3.
        FitFailed: as fit_sine3; or fewer than 200 samples.
    Source:
        common practice, no source; signatures derived in tests/amplitude/test_plain.py.
    """
    fit = fit_sine3(samples, sample_rate_hz=sample_rate_hz, frequency_hz=frequency_hz)
    record = checked_samples(samples)
    if record.shape[0] < LEAST_SAMPLES:
        raise FitFailed(
            f"plain samples: {record.shape[0]} samples; allowed are {LEAST_SAMPLES} or more: take a longer record"
        )
    flags = []
    fractions = int(np.count_nonzero(record != np.rint(record)))
    if fractions:
        text = f"{fractions} of {record.shape[0]} samples are no whole codes: averaged, filtered or scaled data"
        flags.append(Flag(name="non-integer-codes", severity="invalid", reason=f"{text}; fetch raw codes"))
    angle_rad = (2.0 * math.pi * frequency_hz / sample_rate_hz) * np.arange(record.shape[0]) + fit.phase_rad
    residual = record - fit.amplitude_code * np.sin(angle_rad) - fit.offset_code
    flags += _inserted(record, residual)
    correlation = noise_correlation(residual)
    least = max(LARGEST_CORRELATION, SIGNIFICANT / math.sqrt(record.shape[0]))
    if fit.noise_code >= CORRELATION_NOISE_CODE and abs(correlation) > least:
        text = f"noise of neighbouring samples is correlated by {correlation:.2f}; allowed is {least:.2f}"
        reason = f"{text}: a filter, averaging, interpolation or a stray line is in the record"
        flags.append(Flag(name="correlated-noise", severity="flag", reason=reason))
    return tuple(flags)


def noise_correlation(residual_code: Floats, *, lag: int = 1) -> float:
    """How much the noise of one sample says about a later one.

    Args:
        residual_code: shape (n,), what the fit left over, n > lag.
        lag: distance in samples, >= 1.
    Returns:
        autocorrelation, -1 to 1; 0 for a residual without any scatter.
    Source:
        definition of the autocorrelation.
    """
    centred = residual_code - residual_code.mean()
    total = float(centred @ centred)
    return float(centred[:-lag] @ centred[lag:]) / total if total > 0.0 else 0.0


def _inserted(record: Floats, residual: Floats) -> list[Flag]:
    """Held samples leave first differences of zero, linear interpolation leaves second differences of zero."""
    first, second = np.diff(record), np.zeros_like(record)
    # The residual, not the record: a steep sine would hide the small differences of interpolated noise.
    second[1:-1] = residual[1:-1] - (residual[:-2] + residual[2:]) / 2.0
    for factor in reversed(FACTORS):
        for phase in range(factor):
            inserted = np.arange(first.shape[0]) % factor != phase
            held = float(np.mean(first[inserted] == 0.0))
            moving = float(np.mean(first[~inserted] == 0.0))
            if held > HELD and moving < MOVING:
                text = f"{100.0 * held:.0f} % of the samples repeat their neighbour in groups of {factor}"
                return [
                    Flag(name="repeated-samples", severity="invalid", reason=f"{text}: fetch at the true sample rate")
                ]
    for factor in reversed(FACTORS):
        squares = [float(np.mean(second[1:-1][phase::factor] ** 2)) for phase in range(factor)]
        largest, rest = max(squares), sorted(squares)[:-1]
        scatter = SIGNIFICANT * math.sqrt(6.0 * factor / record.shape[0])
        if max(rest) < largest * (1.0 - scatter):
            text = f"every {factor}. sample stands out from its neighbours, the others lie between theirs"
            return [
                Flag(
                    name="interpolated-samples",
                    severity="invalid",
                    reason=f"{text}: the record is interpolated; fetch real points only",
                )
            ]
    return []
