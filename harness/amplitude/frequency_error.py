"""Whether a record's sine has the frequency that it was fitted with."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from harness.amplitude.sine import Samples, checked_samples, orthonormal_rows, sine_of
from harness.values import SineFit

LEAST_LOSS_RATIO = 1e-5
"""Of the amplitude: a loss that matters nowhere."""
LEAST_SHARE = 0.25
"""Of the residual's power: hum and noise put less into the one column that a wrong frequency fills."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrequencyError:
    """What a fit of known frequency leaves of a sine of another one; good for a fraction of a bin."""

    off_hz: float
    """Frequency of the sine less that of the fit."""
    loss_ratio: float
    """Share of the amplitude that the fit misses."""
    share_ratio: float
    """Share of the residual's power that the other frequency explains."""

    @property
    def costs(self) -> bool:
        """Whether the amplitude is to be fitted with the frequency left free."""
        return self.loss_ratio > LEAST_LOSS_RATIO and self.share_ratio > LEAST_SHARE


def frequency_error(
    samples: Samples, fit: SineFit, *, sample_rate_hz: float, frequency_hz: float
) -> FrequencyError | None:
    """How far the frequency of a record lies from the one it was fitted with.

    Args:
        samples: shape (n,), n >= 8, finite.
        fit: of these samples at this frequency (fit_sine3).
        sample_rate_hz: samples a second, > 0.
        frequency_hz: of the fit.
    Returns:
        one Gauss-Newton step of the four-parameter fit; None for a record without a sine or without a residual.
    Raises:
        NotFinite: as fit_sine3.
        TooFewCycles: as fit_sine3.
        FitFailed: as fit_sine3.
    Source:
        IEEE Std 1057, four-parameter fit, from memory; loss sin(πδT)/(πδT) ≈ 1 - (πδT)²/6 of a line off its bin by δ.
    """
    residual = checked_samples(samples) - fit.offset_code
    residual = residual - sine_of(fit, sample_rate_hz=sample_rate_hz, frequency_hz=frequency_hz)
    power = float(np.einsum("i,i->", residual, residual))
    if not (fit.amplitude_code > 0.0 and power > 0.0):
        return None
    length = fit.samples
    quarter = SineFit(
        amplitude_code=fit.amplitude_code, offset_code=0.0, phase_rad=fit.phase_rad + math.pi / 2.0, noise_code=0.0,
        samples=length,
    )  # fmt: skip
    index = np.arange(length) - (length - 1) / 2.0
    slope = index * sine_of(quarter, sample_rate_hz=sample_rate_hz, frequency_hz=frequency_hz)
    rows = orthonormal_rows(length, sample_rate_hz, frequency_hz)
    slope -= np.einsum("i,ij->j", np.einsum("ij,j->i", rows, slope), rows)
    across = float(np.einsum("i,i->", slope, slope))
    along = float(np.einsum("i,i->", residual, slope))
    off_hz = along / across * sample_rate_hz / (2.0 * math.pi)
    return FrequencyError(
        off_hz=off_hz,
        loss_ratio=(math.pi * off_hz * length / sample_rate_hz) ** 2 / 6.0,
        share_ratio=along**2 / (across * power),
    )
