"""Least-squares fit of a sine whose frequency is known only nearly."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from harness.amplitude.sine import Floats, Samples, fit_sine3
from harness.errors import FitFailed
from harness.values import SineFit

MOST_ROUNDS = 30
SMALL_STEP_RATIO = 1e-13
"""Of the frequency: below it another round changes nothing that a double can hold."""
SETTLED_RATIO = 1e-9
"""Of the frequency: a last step below it is rounding, not progress."""
MOST_BINS = 1.0
"""How far the fit may walk from its start, in frequency bins 1/T: farther it may have found a side lobe."""
SIDE_BINS = 20
"""How far around the sine a stronger line is looked for; hum farther away is no matter of the start."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SineFit4(SineFit):
    """A sine with its frequency; the residual has n - 4 degrees of freedom."""

    frequency_hz: float


def fit_sine4(samples: Samples, *, sample_rate_hz: float, frequency_hz: float) -> SineFit4:
    """Which sine fits a record best, its frequency included.

    Args:
        samples: shape (n,), n >= 8, finite; usually converter codes.
        sample_rate_hz: samples a second, > 0.
        frequency_hz: where to start, within half a bin (0.5·sample_rate_hz/n) of the signal's frequency.
    Returns:
        amplitude (peak), offset, phase, residual in the unit of the samples, and the frequency found.
    Raises:
        NotFinite: as fit_sine3.
        TooFewCycles: as fit_sine3.
        FitFailed: as fit_sine3; or the frequency walks more than one bin away, does not settle, or leaves a stronger
            line beside the sine: the start was too far off, or there is no sine in the record.
    Source:
        IEEE Std 1057, four-parameter fit (unknown frequency), from memory; numbers in tests/published/test_sine_fit.py.
    """
    first = fit_sine3(samples, sample_rate_hz=sample_rate_hz, frequency_hz=frequency_hz)
    record = np.asarray(samples, dtype=np.float64)
    bin_hz = sample_rate_hz / record.shape[0]
    found_hz, step_hz = frequency_hz, math.inf
    for _ in range(MOST_ROUNDS):
        step_hz = _step_hz(record, sample_rate_hz, found_hz)
        found_hz += step_hz
        if not abs(found_hz - frequency_hz) <= MOST_BINS * bin_hz:
            raise FitFailed(
                f"sine fit of unknown frequency: walked from {frequency_hz:g} Hz to {found_hz:g} Hz; allowed is one "
                f"bin, {bin_hz:g} Hz: start nearer to the signal, or look whether there is a sine at all"
            )
        if abs(step_hz) <= SMALL_STEP_RATIO * found_hz:
            break
    if abs(step_hz) > SETTLED_RATIO * found_hz:
        raise FitFailed(
            f"sine fit of unknown frequency: still moving by {step_hz:.2g} Hz after {MOST_ROUNDS} rounds at "
            f"{found_hz:g} Hz; allowed is {SETTLED_RATIO * found_hz:.2g} Hz: the record may hold no sine"
        )
    last = fit_sine3(samples, sample_rate_hz=sample_rate_hz, frequency_hz=found_hz)
    _refuse_side_lobe(record, last, sample_rate_hz, found_hz)
    return SineFit4(
        amplitude_code=last.amplitude_code,
        offset_code=last.offset_code,
        phase_rad=last.phase_rad,
        noise_code=last.noise_code * math.sqrt((first.samples - 3) / (first.samples - 4)),
        samples=last.samples,
        frequency_hz=found_hz,
    )


def _refuse_side_lobe(record: Floats, fit: SineFit, sample_rate_hz: float, found_hz: float) -> None:
    """A start too far off settles on a side lobe: then the sine itself stays behind as a stronger line."""
    length = record.shape[0]
    angle_rad = (2.0 * math.pi * found_hz / sample_rate_hz) * np.arange(length) + fit.phase_rad
    left = record - fit.offset_code - fit.amplitude_code * np.sin(angle_rad)
    lines = np.abs(np.fft.rfft(left))[1:] * (2.0 / length)
    middle = found_hz * length / sample_rate_hz
    first = max(0, round(middle) - 1 - SIDE_BINS)
    near = lines[first : round(middle) + SIDE_BINS]
    place = int(near.argmax())
    if near[place] > fit.amplitude_code:
        line_hz = (first + place + 1) * sample_rate_hz / length
        raise FitFailed(
            f"sine fit of unknown frequency: settled at {found_hz:g} Hz with amplitude {fit.amplitude_code:.4g}, and "
            f"left a line of {near[place]:.4g} near {line_hz:g} Hz; allowed is none as strong as the sine: start there"
        )


def _step_hz(record: Floats, sample_rate_hz: float, frequency_hz: float) -> float:
    """One Gauss-Newton step of the frequency; time counts from the middle, where it leaves the phase alone."""
    length = record.shape[0]
    index = np.arange(length) - (length - 1) / 2.0
    angle_rad = (2.0 * math.pi * frequency_hz / sample_rate_hz) * index
    sine, cosine = np.sin(angle_rad), np.cos(angle_rad)
    design = np.column_stack((sine, cosine, np.ones(length)))
    (in_phase, quadrature, _), _, _, _ = np.linalg.lstsq(design, record, rcond=None)
    slope = (2.0 * math.pi / sample_rate_hz) * index * (in_phase * cosine - quadrature * sine)
    factors, _, _, _ = np.linalg.lstsq(np.column_stack((design, slope)), record, rcond=None)
    return float(factors[3])
