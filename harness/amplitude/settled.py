"""Had the signal settled when the record began? What the fit leaves is larger at the start where it had not."""

from __future__ import annotations

import math

import numpy as np

from harness.amplitude.sine import Samples, checked_samples, sine_of
from harness.values import SineFit

START_RATIO = 0.05
"""Share of the record that is its start."""
LEAST_SAMPLES = 200
"""So that ten samples are the start."""


def start_unrest(samples: Samples, *, sample_rate_hz: float, frequency_hz: float, fit: SineFit) -> float:
    """How many times as much the fit leaves in the first twentieth of a record as in its second half.

    Args:
        samples: shape (n,), codes.
        sample_rate_hz: samples a second, > 0.
        frequency_hz: of the signal, 0 < frequency_hz < sample_rate_hz / 2.
        fit: of these samples.
    Returns:
        ratio of the two rms values; about 1 of a settled signal, with a standard deviation of √(11/n); 1 where the
        second half leaves nothing, or below 200 samples, too few to tell.
    Raises:
        NotFinite: as fit_sine3.
        FitFailed: as fit_sine3.
    Source:
        definition; variance of a sample variance σ⁴·2/n (common knowledge, no source).
    """
    record = checked_samples(samples)
    if record.size < LEAST_SAMPLES:
        return 1.0
    left = record - fit.offset_code - sine_of(fit, sample_rate_hz=sample_rate_hz, frequency_hz=frequency_hz)
    start, end = left[: int(START_RATIO * left.size)], left[left.size // 2 :]
    quiet = float(np.mean(end**2))
    return math.sqrt(float(np.mean(start**2)) / quiet) if quiet > 0.0 else 1.0
