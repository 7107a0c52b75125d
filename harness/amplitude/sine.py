"""Least-squares fit of a sine of known frequency."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from harness.errors import FitFailed, NotFinite, TooFewCycles
from harness.values import SineFit

Floats = npt.NDArray[np.float64]
Samples = npt.NDArray[np.float64] | npt.NDArray[np.int16]

LEAST_SAMPLES = 8
LARGEST_CONDITION = 1e8
"""Condition number of the fit above which half of the digits are gone."""
FAINT_RATIO = 1e-9
"""Residual power over total power below which it is summed sample by sample."""
NOT_A_MEASUREMENT = 9.9e36
"""Instruments say 9.9E37 and 9.91E37 for overrange and for no measurement; nothing real comes near."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SineFits:
    """Fits of several records of the same length, rate and frequency; arrays of shape (m,), read-only."""

    amplitude_code: Floats
    """Peak, >= 0."""
    offset_code: Floats
    phase_rad: Floats
    """Of a·sin(ωt + φ), in (-π, π]."""
    noise_code: Floats
    """RMS of the residual, n - 3 degrees of freedom."""
    samples: int
    """Of each record."""

    def __post_init__(self) -> None:
        for values in (self.amplitude_code, self.offset_code, self.phase_rad, self.noise_code):
            values.setflags(write=False)


@dataclass(frozen=True, slots=True, eq=False)
class _Basis:
    """Orthonormal rows that span sine, cosine and constant, and the way back to their coefficients."""

    rows: Floats
    """Shape (3, n)."""
    to_coefficients: Floats
    """Shape (3, 3): projections on the rows to the factors of sine, cosine and constant."""


def fit_sine3(samples: Samples, *, sample_rate_hz: float, frequency_hz: float) -> SineFit:
    """Which sine of known frequency fits a record best, and how much it leaves over.

    Args:
        samples: shape (n,), n >= 8, finite; usually converter codes.
        sample_rate_hz: samples a second, > 0.
        frequency_hz: of the signal, 0 < frequency_hz < sample_rate_hz / 2, at least one cycle in the record.
    Returns:
        amplitude (peak), offset, phase and residual in the unit of the samples.
    Raises:
        NotFinite: a sample, the rate or the frequency is NaN, infinite or an instrument's 9.9E37, or rate or frequency
            is not above zero.
        TooFewCycles: the record holds less than one cycle.
        FitFailed: not one dimension, fewer than 8 samples, frequency at or above half the rate, or so near to it that
            sine and cosine cannot be told apart.
    Source:
        IEEE Std 1057, three-parameter fit (known frequency); numbers in tests/published/test_sine_fit.py.
    """
    record = checked_record(samples, sample_rate_hz=sample_rate_hz, frequency_hz=frequency_hz)
    basis = _basis(record.shape[0], sample_rate_hz, frequency_hz)
    # Not `@`: for long records that wakes the threads of the linear algebra library, which costs more than the product.
    projections = np.einsum("ij,j->i", basis.rows, record)
    residual = record - np.einsum("i,ij->j", projections, basis.rows)
    sine, cosine, offset = (basis.to_coefficients @ projections).tolist()
    return SineFit(
        amplitude_code=math.hypot(sine, cosine),
        offset_code=offset,
        phase_rad=_phase_rad(sine, cosine),
        noise_code=math.sqrt(float(np.einsum("i,i->", residual, residual)) / (record.shape[0] - 3)),
        samples=record.shape[0],
    )


def checked_record(samples: Samples, *, sample_rate_hz: float, frequency_hz: float) -> Floats:
    """One record as floats, of which a sine of this frequency can be fitted.

    Args:
        samples: as fit_sine3.
        sample_rate_hz: as fit_sine3.
        frequency_hz: as fit_sine3.
    Returns:
        shape (n,).
    Raises:
        NotFinite: as fit_sine3.
        TooFewCycles: as fit_sine3.
        FitFailed: as fit_sine3.
    Source:
        none: a check of arguments.
    """
    if samples.ndim != 1:
        raise FitFailed(f"sine fit: samples have shape {samples.shape}; allowed is one record, shape (n,)")
    record = checked_samples(samples)
    _basis(record.shape[0], sample_rate_hz, frequency_hz)
    return record


def orthonormal_rows(length: int, sample_rate_hz: float, frequency_hz: float) -> Floats:
    """What a fit of three parameters can take up.

    Args:
        length: samples of the record.
        sample_rate_hz: as fit_sine3.
        frequency_hz: as fit_sine3.
    Returns:
        shape (3, length), read-only: orthonormal, spanning sine, cosine and constant.
    Raises:
        NotFinite: as fit_sine3.
        TooFewCycles: as fit_sine3.
        FitFailed: as fit_sine3.
    Source:
        QR decomposition.
    """
    return _basis(length, sample_rate_hz, frequency_hz).rows


def sine_of(fit: SineFit, *, sample_rate_hz: float, frequency_hz: float) -> Floats:
    """The sine that a fit found, without its offset.

    Args:
        fit: of a record.
        sample_rate_hz: samples a second, > 0.
        frequency_hz: of the signal, > 0.
    Returns:
        shape (fit.samples,), in the unit of the samples.
    Source:
        amplitude·sin(2π·f·t + phase), as a sum of the two tabulated quadratures.
    """
    sine, cosine = _quadratures(fit.samples, sample_rate_hz, frequency_hz)
    in_phase, quadrature = fit.amplitude_code * math.cos(fit.phase_rad), fit.amplitude_code * math.sin(fit.phase_rad)
    return np.asarray(in_phase * sine + quadrature * cosine, dtype=np.float64)


@lru_cache(maxsize=4)
def _quadratures(length: int, sample_rate_hz: float, frequency_hz: float) -> tuple[Floats, Floats]:
    angle_rad = (2.0 * math.pi * frequency_hz / sample_rate_hz) * np.arange(length)
    tables = np.sin(angle_rad), np.cos(angle_rad)
    for table in tables:
        table.setflags(write=False)
    return tables


def fit_sines3(samples: Samples, *, sample_rate_hz: float, frequency_hz: float) -> SineFits:
    """Which sines of one known frequency fit several records best.

    Args:
        samples: shape (m, n), one record a row, n >= 8, finite; usually converter codes.
        sample_rate_hz: samples a second, > 0.
        frequency_hz: of the signal, 0 < frequency_hz < sample_rate_hz / 2, at least one cycle in each record.
    Returns:
        amplitudes (peak), offsets, phases and residuals of shape (m,), in the unit of the samples.
    Raises:
        NotFinite: as fit_sine3.
        TooFewCycles: as fit_sine3.
        FitFailed: not two dimensions; else as fit_sine3.
    Source:
        as fit_sine3.
    """
    if samples.ndim != 2:
        raise FitFailed(f"sine fits: samples have shape {samples.shape}; allowed is one record a row, shape (m, n)")
    records = samples.astype(np.float64) if samples.dtype == np.int16 else np.asarray(samples, dtype=np.float64)
    length = records.shape[1]
    basis = _basis(length, sample_rate_hz, frequency_hz)
    projections = records @ basis.rows.T
    squares = _squares(records)
    left = squares - _squares(projections)
    # The difference of two large sums keeps too few digits of a residual that is nearly nothing: those rows again.
    faint = np.flatnonzero(~(left > FAINT_RATIO * squares))
    if faint.size:
        left[faint] = _squares(records[faint] - projections[faint] @ basis.rows)
    sine, cosine, offset = basis.to_coefficients @ projections.T
    return SineFits(
        amplitude_code=np.hypot(sine, cosine),
        offset_code=offset.copy(),
        phase_rad=np.array([_phase_rad(s, c) for s, c in zip(sine.tolist(), cosine.tolist(), strict=True)]),
        noise_code=np.sqrt(left / (length - 3)),
        samples=length,
    )


def _squares(rows: Floats) -> Floats:
    """Sum of squares of each row; refuses a row that an overrange sample makes too large."""
    sums = np.einsum("ij,ij->i", rows, rows)
    if sums.size and not sums.max() < NOT_A_MEASUREMENT**2:
        checked_samples(rows)
    return np.asarray(sums, dtype=np.float64)


def checked_samples(samples: Samples) -> Floats:
    """A record as floats, all of them numbers.

    Args:
        samples: any shape.
    Returns:
        same shape; the record itself where it already holds floats.
    Raises:
        NotFinite: a sample is NaN, infinite or an instrument's 9.9E37.
    Source:
        SCPI-1999 vol. 1, 7.2.1: 9.9E37 and 9.91E37 are no measurements.
    """
    if samples.dtype == np.int16:
        return samples.astype(np.float64)
    record = np.asarray(samples, dtype=np.float64)
    # NaN passes through max and min and fails both comparisons.
    if record.size and not (record.max() < NOT_A_MEASUREMENT and record.min() > -NOT_A_MEASUREMENT):
        where = int(np.flatnonzero(~(np.abs(record) < NOT_A_MEASUREMENT))[0])
        raise NotFinite(
            f"sine fit: sample {where} is {float(record.flat[where])!r}; allowed are finite numbers below 9.9E36: "
            "the record is overrange or was never taken"
        )
    return record


def _phase_rad(sine: float, cosine: float) -> float:
    phase = math.atan2(cosine, sine)
    return math.pi if phase == -math.pi else phase


@lru_cache(maxsize=4)
def _basis(length: int, sample_rate_hz: float, frequency_hz: float) -> _Basis:
    for name, value in (("sample_rate_hz", sample_rate_hz), ("frequency_hz", frequency_hz)):
        if not 0.0 < value < NOT_A_MEASUREMENT:
            raise NotFinite(f"sine fit: {name} is {value!r}; allowed is a positive finite number")
    if length < LEAST_SAMPLES:
        raise FitFailed(f"sine fit: {length} samples; allowed are {LEAST_SAMPLES} or more: take a longer record")
    if not frequency_hz < sample_rate_hz / 2.0:
        raise FitFailed(
            f"sine fit: {frequency_hz:g} Hz sampled at {sample_rate_hz:g} Hz; "
            "allowed is less than half the sample rate: sample faster"
        )
    cycles = length * frequency_hz / sample_rate_hz
    if cycles < 1.0 - 1e-9:  # a record of exactly one cycle may compute as a little less
        raise TooFewCycles(
            f"sine fit: the record holds {cycles:.3g} cycles of {frequency_hz:g} Hz; "
            "allowed is one or more: take a longer record or a higher frequency"
        )
    angle_rad = (2.0 * math.pi * frequency_hz / sample_rate_hz) * np.arange(length)
    orthonormal, triangle = np.linalg.qr(np.column_stack((np.sin(angle_rad), np.cos(angle_rad), np.ones(length))))
    condition = float(np.linalg.cond(triangle))
    if not condition < LARGEST_CONDITION:
        raise FitFailed(
            f"sine fit: sine, cosine and constant cannot be told apart in {length} samples of {frequency_hz:g} Hz "
            f"at {sample_rate_hz:g} Hz (condition number {condition:.1e}, allowed below {LARGEST_CONDITION:.0e}): "
            "move the frequency away from half the sample rate"
        )
    rows = np.ascontiguousarray(orthonormal.T)
    to_coefficients = np.linalg.inv(triangle)
    rows.setflags(write=False)
    to_coefficients.setflags(write=False)
    return _Basis(rows, to_coefficients)
