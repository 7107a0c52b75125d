"""The amplitude by RMS beside that of the fit: what is neither sine nor white noise drives them apart."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from harness.amplitude.flags import Flag
from harness.amplitude.levels import rms_amplitude_code
from harness.amplitude.sine import Floats, Samples, checked_samples, sine_of
from harness.amplitude.tones import Tone, tones_of
from harness.values import SineFit

WHOLE_CYCLES = 1e-4
"""Of a cycle: farther from whole cycles the mean of the record holds signal."""
SIGNIFICANT = 4.0
"""Standard uncertainties."""


def rms_differs(
    samples: Samples, *, fit: SineFit, sample_rate_hz: float, frequency_hz: float, tones: Sequence[Tone] = ()
) -> Flag | None:
    """Whether the RMS of a coherent record speaks against its fit.

    The white noise that is taken off the RMS is told from differences of neighbouring samples, so slow or regular
    disturbances stay in it. Never the measurement.

    Args:
        samples: shape (n,), n >= 8, finite; usually converter codes.
        fit: of these samples.
        sample_rate_hz: samples a second, > 0.
        frequency_hz: of the signal, > 0.
        tones: lines that the fit took along: they are known, and taken off.
    Returns:
        a flag where the two amplitudes differ by more than four standard uncertainties of the fit and of the noise
        taken off, and than rounding explains; nothing otherwise, nor where the record does not hold whole cycles.
    Raises:
        NotFinite: as rms_amplitude_code.
        FitFailed: as rms_amplitude_code.
    Source:
        Parseval: RMS² = A²/2 + Σh²/2 + σ²; a fitted amplitude has variance 2σ²/n, and the mean square of n white
        samples differs from half that of their differences with variance σ⁴/n (tests/amplitude/test_rms_check.py).
    """
    length = fit.samples
    cycles = length * frequency_hz / sample_rate_hz
    if abs(cycles - round(cycles)) > WHOLE_CYCLES or not fit.amplitude_code > 0.0:
        return None
    record = checked_samples(samples) - tones_of(tones, samples=length, sample_rate_hz=sample_rate_hz)
    residual = record - fit.offset_code - sine_of(fit, sample_rate_hz=sample_rate_hz, frequency_hz=frequency_hz)
    white = _white_power(residual)
    found_code = math.sqrt(max(rms_amplitude_code(record) ** 2 - 2.0 * white, 0.0))
    u_code = math.hypot(math.sqrt(2.0 * white / length), white / (fit.amplitude_code * math.sqrt(length)))
    rounding_code = 1.0 / (12.0 * fit.amplitude_code)
    allowed_code = SIGNIFICANT * u_code + rounding_code
    off_code = found_code - fit.amplitude_code
    if abs(off_code) <= allowed_code:
        return None
    off, allowed = (100.0 * code / fit.amplitude_code for code in (off_code, allowed_code))
    return Flag(
        name="rms-differs",
        severity="flag",
        reason=f"the RMS stands for {found_code:.6g} codes, the fit found {fit.amplitude_code:.6g} ({off:+.3g} %); "
        f"allowed is {allowed:.2g} %: hum, harmonics or another signal is in the record: look at its spectrum, or let "
        "the fit take such lines along ([fit] in the job)",
    )


def _white_power(residual: Floats) -> float:
    """Half the mean square of differences: slow lines are not in it."""
    steps = np.diff(residual)
    return float(np.einsum("i,i->", steps, steps)) / (2.0 * steps.size)
