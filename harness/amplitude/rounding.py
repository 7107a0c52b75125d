"""What rounding to codes does to a sine and to a DC level: exact series."""

from __future__ import annotations

import math

import numpy as np

from harness.errors import NotFinite

TERMS = 400
"""Of the series with noise: at the least noise that it is used for (0.02) the last term is below 1e-100."""
NOISE_FREE_CODE = 0.02
"""Below this noise the closed form without noise is used: it differs by less than the noise."""
SEARCH_CODE = 0.5
"""The worst bias is looked for within this distance of the amplitude: one period of the bias."""


def rounded_amplitude_code(amplitude_code: float, *, noise_code: float = 0.0, centre_code: float = 0.0) -> float:
    """What amplitude an ideal converter makes of a sine.

    Args:
        amplitude_code: true amplitude, code steps peak, >= 0.
        noise_code: Gaussian noise before the rounding, rms code steps, >= 0.
        centre_code: distance of the sine's middle from the middle of a code, code steps.
    Returns:
        amplitude of the fundamental of the rounded sine, code steps peak.
    Raises:
        NotFinite: an argument is not a finite number, or amplitude or noise is negative.
    Source:
        theory of quantization (Blachman 1985; Gray 1990; Widrow and Kollár), formula from memory:
        A + Σ (-1)^k·2/(πk)·J1(2πkA)·cos(2πkc)·exp(-2(πkσ)²); tests/published/test_rounded_sine.py.
    """
    for name, value in (("amplitude_code", amplitude_code), ("noise_code", noise_code), ("centre_code", centre_code)):
        if not math.isfinite(value) or (value < 0.0 and name != "centre_code"):
            raise NotFinite(f"rounded sine: {name} is {value!r}; allowed is a finite number, not negative")
    if amplitude_code == 0.0:
        return 0.0
    if noise_code < NOISE_FREE_CODE:
        reach = math.ceil(amplitude_code + abs(centre_code)) + 1
        thresholds = np.arange(-reach, reach + 1) + 0.5 - centre_code
        ratio = thresholds[np.abs(thresholds) < amplitude_code] / amplitude_code
        return float(2.0 / math.pi * np.sqrt(1.0 - ratio * ratio).sum())
    from scipy.special import j1

    order = np.arange(1, TERMS + 1)
    size = np.exp(-2.0 * (math.pi * order * noise_code) ** 2) * np.cos(2.0 * math.pi * order * centre_code)
    terms = (-1.0) ** order * (2.0 / (math.pi * order)) * j1(2.0 * math.pi * order * amplitude_code) * size
    return amplitude_code + float(terms.sum())


def worst_bias_ratio(amplitude_code: float, *, noise_code: float) -> float:
    """How wrong rounding can make an amplitude near this one.

    Args:
        amplitude_code: code steps peak, > 0.
        noise_code: noise before the rounding, rms code steps, >= 0.
    Returns:
        largest |rounded/true - 1| for amplitudes within half a code and any centre, as a ratio.
    Raises:
        NotFinite: an argument is not a finite number, or amplitude or noise is negative or the amplitude zero.
    Source:
        as rounded_amplitude_code; the extremes lie at a centre on a code or half way between two.
    """
    if not (math.isfinite(amplitude_code) and amplitude_code > 0.0):
        raise NotFinite(f"worst bias: amplitude_code is {amplitude_code!r}; allowed is a positive finite number")
    least = max(amplitude_code - SEARCH_CODE, amplitude_code / 4.0)
    biases = [
        abs(rounded_amplitude_code(near, noise_code=noise_code, centre_code=centre) / near - 1.0)
        for near in np.linspace(least, amplitude_code + SEARCH_CODE, 41).tolist()
        for centre in (0.0, 0.5)
    ]
    return float(max(biases))


def dc_bias_code(noise_code: float) -> float:
    """How far the mean of many codes can lie from a DC level.

    Args:
        noise_code: noise before the rounding, rms code steps, >= 0.
    Returns:
        largest bias over all levels, code steps; 0.5 without noise.
    Raises:
        NotFinite: the noise is not a finite number or is negative.
    Source:
        Widrow, Kollár, Liu, IEEE TIM 45(2) 1996, formula from memory: Σ (-1)^k/(πk)·sin(2πkx)·exp(-2(πkσ)²).
    """
    if not (math.isfinite(noise_code) and noise_code >= 0.0):
        raise NotFinite(f"DC bias: noise_code is {noise_code!r}; allowed is a finite number, not negative")
    if noise_code < NOISE_FREE_CODE:
        return 0.5
    order = np.arange(1, 101)[:, np.newaxis]
    level = np.linspace(0.0, 0.5, 501)
    size = np.exp(-2.0 * (math.pi * order * noise_code) ** 2) / (math.pi * order)
    return float(np.abs(((-1.0) ** order * size * np.sin(2.0 * math.pi * order * level)).sum(axis=0)).max())
