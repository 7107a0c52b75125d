"""What records of a given length and level can tell at all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.errors import NotFinite
from harness.judge.waveform.gaps import ALPHA, UNEVEN_LSB
from harness.judge.waveform.lattice import ROUNDINGS, visits
from harness.judge.waveform.noise import NINETY_PERCENT, noise_ratio
from harness.judge.waveform.result import FOUND_DISTANCE
from harness.judge.waveform.step_size import GAIN_PERCENT

PHASES = 2 * len(ROUNDINGS)
"""Patterns of empty codes that are tried: each way of rounding about two origins."""
UNEVEN_RATIO = 1.0 - 0.5 * UNEVEN_LSB
"""Fewer hits in a handful of narrow codes (four of them)."""
NOISE_CODE = 0.5
ROWS = ((8, 2_000), (8, 10_000), (10, 10_000), (12, 10_000), (12, 60_000), (14, 100_000), (16, 100_000))
"""Bits and samples of the table's rows, unless others are asked for."""
LARGEST_M = 1e3
INCOMMENSURATE = (math.sqrt(5.0) - 1.0) / 2.0
"""Cycles a sample: phases as even as they can be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerRow:
    """Smallest magnification that each test can tell; None where it can tell none."""

    bits: int
    samples: int
    amplitude_code: float
    step_m: float | None
    """W1, spacing of the codes."""
    gaps_m: float | None
    """W2, hits in predicted-empty codes."""
    noise_m: float | None
    """W3, noise at the input."""


def samples_to_fill(amplitude_code: float) -> float:
    """How many samples a sine needs to leave no code empty by chance.

    Args:
        amplitude_code: code steps peak, > 1.
    Returns:
        π·A·ln(C/α), α = 1 %, C the inner codes.
    Raises:
        NotFinite: the amplitude is not a finite number above 1.
    Source:
        a code in the middle is hit by n/(π·A) samples; Bonferroni over C codes.
    """
    if not (math.isfinite(amplitude_code) and amplitude_code > 1.0):
        raise NotFinite(f"power: amplitude_code is {amplitude_code!r}; allowed is a finite number above 1")
    return math.pi * amplitude_code * math.log(inner_codes(amplitude_code) / ALPHA)


def inner_codes(amplitude_code: float) -> float:
    """How many codes a sine visits for certain, edges left out.

    Args:
        amplitude_code: code steps peak.
    Returns:
        0.975 of its span.
    Source:
        common practice, no source.
    """
    return 0.975 * 2.0 * amplitude_code


def power_table(
    rows: Sequence[tuple[int, int]] = ROWS, *, fill_ratio: float = 0.75, converter_over_front: float = 1.0
) -> tuple[PowerRow, ...]:
    """Which magnification is the smallest that records of these lengths could tell.

    Args:
        rows: bits of the converter and samples of a record.
        fill_ratio: signal span over converter span, 0 < fill_ratio <= 1.
        converter_over_front: converter noise over front-end noise at the input, at the reference, >= 0.
    Returns:
        one row for each, for plain samples, white noise and integer codes.
    Raises:
        NotFinite: the fill is outside its range or the noise ratio is negative or not finite.
    Source:
        W1: distance of two expectations, 90 % power at 100 to 1; W2: K·λ >= ln(phases/α), λ = n/(π·A);
        W3: F test, 90 % power at 5 %.
    """
    if not 0.0 < fill_ratio <= 1.0 or not (math.isfinite(converter_over_front) and converter_over_front >= 0.0):
        raise NotFinite(
            f"power table: fill_ratio {fill_ratio!r} and converter_over_front {converter_over_front!r}; allowed are a "
            "fill above 0 up to 1 and a finite noise ratio from 0 up"
        )
    return tuple(_row(bits, samples, fill_ratio, converter_over_front) for bits, samples in rows)


def _row(bits: int, samples: int, fill_ratio: float, converter_over_front: float) -> PowerRow:
    amplitude_code = 2.0 ** (bits - 1) * fill_ratio
    places = inner_codes(amplitude_code)
    middle_hits = samples / (math.pi * amplitude_code)
    share = math.log(PHASES / ALPHA) / (UNEVEN_RATIO * places * middle_hits)
    chance = _chance(amplitude_code, samples)
    u = math.sqrt(chance / places) / (1.0 - chance) if chance < 0.5 else math.inf
    u = math.sqrt(2.0 * (u + 1.0 / places) ** 2 + 2.0 * (0.1 * chance) ** 2 + (GAIN_PERCENT**2 + 0.01) / 1e4)
    return PowerRow(
        bits=bits,
        samples=samples,
        amplitude_code=amplitude_code,
        step_m=math.exp(FOUND_DISTANCE * u) if math.isfinite(u) else None,
        gaps_m=1.0 / (1.0 - share) if share < 1.0 else None,
        noise_m=_noise_m(samples, converter_over_front),
    )


def _chance(amplitude_code: float, samples: int) -> float:
    """Share of codes missed by chance by samples at an incommensurate frequency, with half a code of noise."""
    sine = amplitude_code * np.sin(2.0 * math.pi * INCOMMENSURATE * np.arange(samples))
    expected = visits(sine, NOISE_CODE)
    half = math.floor(inner_codes(amplitude_code) / 2.0)
    return float(expected.empty[-half - expected.first : half + 1 - expected.first].mean())


def _noise_m(samples: int, converter_over_front: float) -> float | None:
    """Smallest ratio whose fall of the noise is 3.24 standard deviations; by bisection, for the fall grows with it."""
    goal = NINETY_PERCENT / math.sqrt(samples)

    def fall(ratio: float) -> float:
        return -math.log(noise_ratio(converter_over_front, ratio))

    if fall(LARGEST_M) < goal:
        return None
    low, high = 1.0, LARGEST_M
    while high / low > 1.0 + 1e-9:
        middle = math.sqrt(low * high)
        low, high = (low, middle) if fall(middle) >= goal else (middle, high)
    return high
