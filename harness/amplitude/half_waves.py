"""The gain of the positive and of the negative half waves of one record."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from harness.errors import FitFailed, NotFinite
from harness.values import Codes, SineFit


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfWaves:
    """How far the two polarities are apart."""

    difference_percent: float
    """Amplitude of the positive half waves less that of the negative ones, over their mean."""
    u_percent: float
    """Standard uncertainty by what the fit leaves over."""


def half_waves(codes: Codes, fit: SineFit, *, sample_rate_hz: float, frequency_hz: float) -> HalfWaves:
    """Whether a record is as high above its middle as it is deep below it.

    A constant, both half waves and a rest of the other phase are fitted together. An even harmonic that stands in step
    with the wave is the same: a second one of 0.1 % (-60 dBc) makes 0.47 %, the source's as well as the device's.

    Args:
        codes: shape (n,), n >= 8, over at least one cycle.
        fit: sine of the same record: its phase says where a half wave begins.
        sample_rate_hz: > 0.
        frequency_hz: of the sine, > 0.
    Returns:
        difference and its standard uncertainty.
    Raises:
        NotFinite: a frequency is not a positive finite number.
        FitFailed: too few samples, or a half wave without amplitude.
    Source:
        linear least squares; |sin x| = 2/pi - 4/(3 pi)·cos 2x - ...; derived in tests/amplitude/test_half_waves.py.
    """
    for name, value in (("sample_rate_hz", sample_rate_hz), ("frequency_hz", frequency_hz)):
        if not (math.isfinite(value) and value > 0.0):
            raise NotFinite(f"half waves: {name} is {value!r}; allowed is a positive finite number")
    if codes.size < 8:
        raise FitFailed(f"half waves: the record has {codes.size} samples; allowed are 8 or more: take a longer record")
    angle = 2.0 * math.pi * frequency_hz / sample_rate_hz * np.arange(codes.size) + fit.phase_rad
    wave = np.sin(angle)
    columns = np.column_stack([np.maximum(wave, 0.0), np.minimum(wave, 0.0), np.cos(angle), np.ones(codes.size)])
    square = columns.T @ columns
    if not np.linalg.cond(square) < 1e9:
        raise FitFailed("half waves: the record lacks a half wave; allowed is one cycle or more: take a longer record")
    values = codes.astype(np.float64)
    inverse = np.linalg.inv(square)
    found = inverse @ (columns.T @ values)
    mean = float(found[0] + found[1]) / 2.0
    if not mean > 0.0:
        raise FitFailed("half waves: they have no amplitude; allowed is a record with a signal: check the drive")
    left = values - columns @ found
    variance = float(left @ left) / (codes.size - found.size)
    spread = float(inverse[0, 0] + inverse[1, 1] - 2.0 * inverse[0, 1])
    return HalfWaves(
        difference_percent=100.0 * float(found[0] - found[1]) / mean,
        u_percent=100.0 * math.sqrt(variance * spread) / mean,
    )
