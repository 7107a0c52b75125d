"""Whether a record holds plain samples, or averaged or interpolated ones."""

from __future__ import annotations

import math

import numpy as np

from harness.amplitude.flags import Flag
from harness.amplitude.sine import Floats, Samples, checked_samples, fit_sine3, sine_of
from harness.errors import FitFailed
from harness.values import SineFit

FACTORS = (2, 3, 4, 5, 8, 10)
"""Interpolation factors that instruments use."""
LEAST_SAMPLES = 200
HELD = 0.98
"""Share of the inserted samples that must show the sign; of the true ones fewer than MOVING may."""
MOVING = 0.5
STRAIGHT_CODE = 0.5
"""A rounded mean of two neighbours is off by so much at most."""
CORRELATION_NOISE_CODE = 0.45
"""Below this residual the error of rounding itself may be correlated, so that nothing can be concluded."""
LARGEST_CORRELATION = 0.1
STRETCHES = 4
"""In each of them a sign must show that is one of the whole record."""
SIGNIFICANT = 5.0
"""Standard deviations: one false alarm in a million records."""


def processed_samples(
    samples: Samples,
    *,
    sample_rate_hz: float,
    frequency_hz: float,
    fit: SineFit | None = None,
    lines: Floats | None = None,
) -> tuple[Flag, ...]:
    """Whether samples are not plain ones: fractions of codes, inserted samples, correlated noise.

    An averaged record rounded back to codes leaves none of these signs: read back the acquisition mode as well.

    Args:
        samples: shape (n,), n >= 200, codes as the device sent them.
        sample_rate_hz: samples a second, > 0.
        frequency_hz: of the signal, 0 < frequency_hz < sample_rate_hz / 2.
        fit: of these samples, where it is known already.
        lines: shape (n,), hum and harmonics that the fit took along; None for none.
    Returns:
        the flags: non-integer-codes, repeated-samples, interpolated-samples (invalid), correlated-noise (flag).
    Raises:
        NotFinite: as fit_sine3.
        TooFewCycles: as fit_sine3.
        FitFailed: as fit_sine3; or fewer than 200 samples.
    Source:
        common practice, no source; signatures derived in tests/amplitude/test_plain.py.
    """
    fit = fit or fit_sine3(samples, sample_rate_hz=sample_rate_hz, frequency_hz=frequency_hz)
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
    residual = record - fit.offset_code - sine_of(fit, sample_rate_hz=sample_rate_hz, frequency_hz=frequency_hz)
    if lines is not None:
        residual -= lines
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
    # Not `@`: for long records that wakes the threads of the linear algebra library, which costs more than the product.
    total = float(np.einsum("i,i->", centred, centred))
    return float(np.einsum("i,i->", centred[:-lag], centred[lag:])) / total if total > 0.0 else 0.0


def _inserted(record: Floats, residual: Floats) -> list[Flag]:
    """Held samples leave first differences of zero, linear interpolation leaves second differences of zero."""
    held = np.append(np.diff(record) == 0.0, 1.0)
    straight = np.concatenate(([1.0], np.abs(_bend(record)) <= STRAIGHT_CODE, [1.0]))
    held_count, straight_count = float(held.sum()), float(straight.sum())
    for factor in reversed(FACTORS):
        if _in_groups(held, factor, total=held_count):
            text = f"samples repeat their neighbour in groups of {factor}"
            return [Flag(name="repeated-samples", severity="invalid", reason=f"{text}: fetch at the true sample rate")]
    # A slow signal is straight everywhere: there the noise of the residual tells, every true sample is a kink in it.
    bends = np.concatenate(([0.0], _bend(residual) ** 2, [0.0]))
    for factor in reversed(FACTORS):
        if _in_groups(straight, factor, total=straight_count) or _stands_out(bends, factor):
            text = f"one sample in {factor} stands out, the others lie on straight lines"
            reason = f"{text}: the record is interpolated; fetch real points only"
            return [Flag(name="interpolated-samples", severity="invalid", reason=reason)]
    return []


def _stands_out(bends: Floats, factor: int) -> bool:
    """Whether the bends of one phase are larger than chance allows, and so all along: a burst is no interpolation."""
    scatter = SIGNIFICANT * math.sqrt(6.0 * factor / bends.size)
    whole = _phases(bends, factor)
    if not _apart(whole, scatter):
        return False
    stretch = bends.size // (STRETCHES * factor) * factor
    parts = [_phases(bends[k * stretch : (k + 1) * stretch], factor) for k in range(STRETCHES)]
    return all(int(np.argmax(part)) == int(np.argmax(whole)) and _apart(part, scatter) for part in parts)


def _apart(squares: Floats, scatter: float) -> bool:
    next_to, largest = sorted(squares.tolist())[-2:]
    return bool(next_to < largest * (1.0 - scatter))


def _bend(values: Floats) -> Floats:
    return np.asarray(values[1:-1] - (values[:-2] + values[2:]) / 2.0, dtype=np.float64)


def _phases(values: Floats, factor: int) -> Floats:
    """Mean of every factor-th value, by phase; a last group that is not whole is left out."""
    groups = values.size // factor
    # A product of matrices: several times faster than a mean along the long axis, and there are many factors.
    return np.asarray(np.ones(groups) @ values[: groups * factor].reshape(groups, factor) / groups, dtype=np.float64)


def _in_groups(sign: Floats, factor: int, *, total: float) -> bool:
    """Whether a sign, on at `total` samples, is so in nearly all but one phase of the factor, mostly off there."""
    # All phases but one need that many; plain samples have far fewer, and there are many factors to try.
    if total <= (factor - 1) * HELD * (sign.size // factor):
        return False
    least, next_to, *_ = sorted(_phases(sign, factor).tolist())
    return bool(least < MOVING and next_to > HELD)
