"""From volts at the converter to codes: saturation, compression, transitions, rails, arithmetic."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from harness.simulated.parameters import ConverterTruth

Samples = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

WORD_BITS = 16
"""Of a value in the record."""


def saturate(volts: Samples, truth: ConverterTruth) -> Samples:
    """The last amplifier: a little compression, then its supply; volts in, volts out."""
    full_v = 2.0 ** (truth.bits - 1) / truth.codes_per_v
    limited = np.clip(volts, -truth.headroom_ratio * full_v, truth.headroom_ratio * full_v)
    loss_ratio = truth.compression_percent / 100.0
    if truth.compression == "tanh" and loss_ratio > 0.0:
        # s tanh(x / s) = x - x^3 / (3 s^2) + ..., whose fundamental falls by (x / s)^2 / 4.
        soft_v = full_v / (2.0 * np.sqrt(loss_ratio))
        return np.asarray(soft_v * np.tanh(limited / soft_v), dtype=np.float64)
    # The fundamental of x - k x^3 falls by 3/4 k x^2.
    bend = loss_ratio / 0.75 / full_v**2
    return np.asarray(limited * (1.0 - bend * limited * limited), dtype=np.float64)


def convert(codes: Samples, thresholds_code: Samples, bits: int) -> Integers:
    """Ideal real-valued codes to the codes of a converter with these transitions; the rails are exact."""
    low, high = -(2 ** (bits - 1)), 2 ** (bits - 1) - 1
    inside = np.clip(codes, low, high)
    floor = np.floor(inside)
    index = floor.astype(np.int64)
    up = inside - floor >= 0.5 + thresholds_code[index - low]
    return np.asarray(np.minimum(index + up, high), dtype=np.int64)


def multiply(codes: Integers, ratio: float, bits: int, *, crops: bool = True) -> Integers:
    """Gain by arithmetic: each code times the ratio, rounded, held at the converter's rails or those of 16 bits."""
    if ratio == 1.0:
        return codes
    held_bits = bits if crops else WORD_BITS
    low, high = -(2 ** (held_bits - 1)), 2 ** (held_bits - 1) - 1
    return np.asarray(np.clip(np.rint(codes * ratio), low, high), dtype=np.int64)
