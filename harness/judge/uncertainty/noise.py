"""What noise and rounding leave open about a fitted amplitude."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from harness.amplitude import worst_bias_ratio
from harness.judge.uncertainty.checked import Floats, checked, same_length
from harness.judge.uncertainty.ladder import Series
from harness.judge.uncertainty.shape import Shape

QUANTISATION_VARIANCE = 1.0 / 12.0
"""Of a rounding error spread evenly over a code, code steps squared."""
QUIET_CODE = 0.3
"""Noise below which rounding no longer averages out and the exact bias is used."""
FIT_PARAMETERS = 3
GRID_RATIO = 1.05
"""Neighbouring amplitudes share one exact bias, that of the smallest."""
GRID_CODE = 0.02
"""The same for noise."""


def noise_before_rounding_code(residual_code: npt.ArrayLike) -> Floats:
    """How much noise stood before the rounding, by the residual of a fit.

    Args:
        residual_code: rms of the residual, code steps, any shape, >= 0.
    Returns:
        rms, code steps, same shape; 0 where the residual is no more than rounding itself.
    Raises:
        NotFinite: a residual is negative or not finite.
    Source:
        variances add: residual² = σ² + 1/12; for quieter records the residual says little and 0 is the cautious answer.
    """
    residual = checked("noise before rounding", "residual_code", residual_code, least=0.0)
    return np.asarray(np.sqrt(np.maximum(residual**2 - QUANTISATION_VARIANCE, 0.0)))


def fit_noise(amplitude_code: Floats, *, noise_code: Floats, samples: int, readings: int = 1) -> Series:
    """How far noise and quantisation scatter the amplitude of a sine fit.

    Args:
        amplitude_code: shape (n,), code steps peak, > 0.
        noise_code: shape (n,), noise before the rounding, rms code steps, >= 0.
        samples: in each record, >= 4.
        readings: records averaged in each gain, >= 1.
    Returns:
        normal, √(2(σ² + 1/12)/(N·readings))/A, with readings·(N - 3) degrees of freedom.
    Raises:
        NotFinite: an argument is outside its bounds.
        MeasureError: the arrays differ in length.
    Source:
        Cramér-Rao bound of a real sine of known frequency, Kay 1993, example 3.14, from memory; σ² includes 1/12 of
        a code step squared, which holds from 0.3 code steps of noise on. What it lacks below is in `rounding`.
    """
    amplitude, noise = _records("fit noise", amplitude_code, noise_code)
    checked("fit noise", "samples", samples, least=FIT_PARAMETERS + 1)
    checked("fit noise", "readings", readings, least=1)
    variance = 2.0 * (noise**2 + QUANTISATION_VARIANCE) / (samples * readings)
    dof = float(readings * (samples - FIT_PARAMETERS))
    return Series(name="fit noise", values_percent=100.0 * np.sqrt(variance) / amplitude, shape=Shape.NORMAL, dof=dof)


def rounding(amplitude_code: Floats, *, noise_code: Floats) -> Series:
    """How far rounding to codes can pull an amplitude that no averaging mends.

    Args:
        amplitude_code: shape (n,), code steps peak, > 0.
        noise_code: shape (n,), noise before the rounding, rms code steps, >= 0.
    Returns:
        rectangular, half width the worst bias over all places of the sine between the codes: exact below 0.3 code
        steps of noise, above it by the first term of the series, 2/(π²·√A)·exp(-2π²σ²)/A.
    Raises:
        NotFinite: an argument is outside its bounds.
        MeasureError: the arrays differ in length.
    Source:
        exact: harness.amplitude.worst_bias_ratio; first term: the same series with the largest value of
        J1(x), √(2/(πx)); compared in tests/judge_uncertainty/test_noise.py.
    """
    amplitude, noise = _records("rounding", amplitude_code, noise_code)
    # As the exact bias: the worst of all amplitudes within half a code step, so that of the smallest.
    least = np.maximum(amplitude - 0.5, amplitude / 4.0)
    envelope_ratio = 2.0 / math.pi**2 * least**-1.5 * np.exp(-2.0 * (math.pi * noise) ** 2)
    half_width = np.where(noise < QUIET_CODE, 0.0, 100.0 * envelope_ratio)
    # The exact bias takes milliseconds; readings of nearly the same amplitude share one, on the safe side.
    places = np.flatnonzero(noise < QUIET_CODE)
    cells = np.floor(np.log(amplitude[places]) / math.log(GRID_RATIO)), np.floor(noise[places] / GRID_CODE)
    known: dict[tuple[float, float], float] = {}
    for place, power, step in zip(places.tolist(), cells[0].tolist(), cells[1].tolist(), strict=True):
        if (power, step) not in known:
            # Forty places to a code step, as in the search of the exact bias, whose peaks are sharp at half codes.
            below = max(math.floor(40.0 * GRID_RATIO**power) / 40.0, 0.025)
            known[power, step] = 100.0 * worst_bias_ratio(below, noise_code=GRID_CODE * step)
        half_width[place] = known[power, step]
    return Series(name="rounding", values_percent=half_width, shape=Shape.RECTANGULAR)


def _records(where: str, amplitude_code: Floats, noise_code: Floats) -> tuple[Floats, Floats]:
    amplitude = checked(where, "amplitude_code", amplitude_code, least=0.0, open_at="least")
    noise = checked(where, "noise_code", noise_code, least=0.0)
    same_length(where, amplitude_code=amplitude, noise_code=noise)
    return amplitude, noise
