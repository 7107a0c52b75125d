"""Amplitude without a sine fit: two DC levels, and the RMS as a cross-check."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from harness.amplitude.sine import Floats, Samples, checked_samples
from harness.errors import FitFailed

LEAST_SAMPLES = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoLevel:
    """What two DC levels of opposite sign left in the codes."""

    difference_code: float
    """Mean at the positive level less mean at the negative one: the offset cancels."""
    offset_code: float
    """Half of their sum: the offset, if the two levels are symmetric."""
    u_difference_code: float
    """Standard uncertainty from the scatter of the samples; the bias of averaging a quiet converter comes beside it
    (dc_bias_code)."""
    noise_code: float
    """RMS scatter about the two means."""


def two_level(codes_plus: Samples, codes_minus: Samples) -> TwoLevel:
    """How far apart two DC levels lie in codes, and where their middle is.

    Args:
        codes_plus: shape (n,), n >= 8, record at the positive level, codes.
        codes_minus: shape (m,), m >= 8, record at the negative level, codes.
    Returns:
        difference, offset, their uncertainty and the noise, codes.
    Raises:
        NotFinite: a sample is NaN, infinite or an instrument's 9.9E37.
        FitFailed: a record is not one dimension or holds fewer than 8 samples.
    Source:
        common practice, no source: two levels, not one, since one level mixes offset into gain.
    """
    plus, minus = _record(codes_plus, "positive"), _record(codes_minus, "negative")
    mean_plus, mean_minus = float(plus.mean()), float(minus.mean())
    variance_plus, variance_minus = float(plus.var(ddof=1)), float(minus.var(ddof=1))
    freedom = plus.size + minus.size - 2
    pooled = ((plus.size - 1) * variance_plus + (minus.size - 1) * variance_minus) / freedom
    return TwoLevel(
        difference_code=mean_plus - mean_minus,
        offset_code=(mean_plus + mean_minus) / 2.0,
        u_difference_code=math.sqrt(variance_plus / plus.size + variance_minus / minus.size),
        noise_code=math.sqrt(pooled),
    )


def rms_amplitude_code(samples: Samples) -> float:
    """What amplitude the RMS of a record would stand for: a cross-check, never the measurement.

    It counts noise, hum and harmonics as signal and wants whole cycles: √(A² + 2σ²) instead of A.

    Args:
        samples: shape (n,), n >= 8, finite; usually converter codes.
    Returns:
        √2 times the RMS about the mean, peak, in the unit of the samples.
    Raises:
        NotFinite: a sample is NaN, infinite or an instrument's 9.9E37.
        FitFailed: not one dimension or fewer than 8 samples.
    Source:
        definition of the RMS of a sine.
    """
    return math.sqrt(2.0) * float(np.std(_record(samples, "whole")))


def _record(samples: Samples, which: str) -> Floats:
    if samples.ndim != 1 or samples.shape[0] < LEAST_SAMPLES:
        raise FitFailed(
            f"levels: the {which} record has shape {samples.shape}; allowed is one record of {LEAST_SAMPLES} samples "
            "or more"
        )
    return checked_samples(samples)
