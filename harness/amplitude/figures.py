"""Converter figures: SINAD, effective bits, noise and offset referred to the input, code gaps."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from harness.amplitude.sine import Floats
from harness.errors import FitFailed, NotFinite
from harness.values import Codes, db_from_ratio

LEAST_GAINS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class OffsetSplit:
    """Offset before the gain stage (it grows with the gain) and after it."""

    before_v: float
    """At the input."""
    u_before_v: float
    after_code: float
    """At the converter."""
    u_after_code: float
    freedom: int
    """Degrees of freedom of the two uncertainties."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseSplit:
    """Noise of the front end (it grows with the gain) and of the converter."""

    input_v: float
    """rms at the input."""
    converter_code: float
    """rms, quantisation included."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeGaps:
    """Codes that a record never visits, between its outermost ones."""

    inner: int
    """Codes strictly between the least and the greatest one seen."""
    empty: int
    share_ratio: float
    """empty / inner; 0 without inner codes."""
    longest: int
    """Length of the longest run of empty codes."""
    chance_ratio: float
    """Share that a sine of this many samples leaves empty by chance."""


def sinad_db(*, amplitude_code: float, residual_code: float) -> float:
    """How far the signal stands above noise and distortion.

    Args:
        amplitude_code: of the fitted sine, peak, > 0.
        residual_code: rms of everything else, > 0; of all n samples, not of n - 3.
    Returns:
        20·log10(A/√2/residual), dB.
    Raises:
        NotFinite: an argument is not a positive finite number.
    Source:
        IEEE Std 1241, SINAD (from memory); numbers in tests/published/test_converter_figures.py.
    """
    _positive(amplitude_code=amplitude_code, residual_code=residual_code)
    return db_from_ratio(amplitude_code / math.sqrt(2.0) / residual_code)


def effective_bits(*, span_code: float, residual_code: float) -> float:
    """How many bits an ideal converter of this span would need for the same residual.

    Args:
        span_code: full span of the converter, peak to peak, code steps, > 0 (half of it costs one bit).
        residual_code: rms residual of the fit, > 0.
    Returns:
        log2(span/(residual·√12)), bits.
    Raises:
        NotFinite: an argument is not a positive finite number.
    Source:
        IEEE Std 1241, effective number of bits (equation number from memory).
    """
    _positive(span_code=span_code, residual_code=residual_code)
    return math.log2(span_code / (residual_code * math.sqrt(12.0)))


def used_bits(*, span_code: float, residual_code: float, fill_ratio: float) -> float:
    """How many effective bits the signal itself uses at its actual fill.

    Args:
        span_code: full span of the converter, peak to peak, code steps, > 0.
        residual_code: rms residual of the fit, > 0.
        fill_ratio: signal span over converter span, > 0.
    Returns:
        effective_bits less the bits that the fill leaves unused, log2(fill·span/(residual·√12)).
    Raises:
        NotFinite: an argument is not a positive finite number.
    Source:
        as effective_bits.
    """
    _positive(fill_ratio=fill_ratio)
    return effective_bits(span_code=span_code, residual_code=residual_code) + math.log2(fill_ratio)


def noise_at_input_v(*, noise_code: float, gain_codes_per_v: float) -> float:
    """Which noise at the input the noise in the codes stands for.

    Args:
        noise_code: rms, code steps, >= 0.
        gain_codes_per_v: > 0.
    Returns:
        V rms.
    Raises:
        NotFinite: the noise is not finite or is negative, or the gain is not a positive finite number.
    Source:
        definition of the noise referred to the input.
    """
    _positive(gain_codes_per_v=gain_codes_per_v)
    if not (math.isfinite(noise_code) and noise_code >= 0.0):
        raise NotFinite(f"converter figure: noise_code is {noise_code!r}; allowed is a finite number, not negative")
    return noise_code / gain_codes_per_v


def split_offset(gains_codes_per_v: Floats, offsets_code: Floats) -> OffsetSplit:
    """How much of the offset arises before the gain, and how much after it.

    Args:
        gains_codes_per_v: shape (n,), n >= 3, from the input to the converter; not all equal.
        offsets_code: shape (n,), fitted offsets, code steps.
    Returns:
        slope (V at the input) and intercept (code steps) of offset against gain, with the standard uncertainties that
        the scatter about the line gives.
    Raises:
        NotFinite: a gain or offset is not finite.
        FitFailed: fewer than three settings, shapes that differ, or no change of gain.
    Source:
        straight line by least squares; tests/amplitude/test_figures.py.
    """
    slope, intercept, u_slope, u_intercept = _line(gains_codes_per_v, offsets_code, "offset")
    return OffsetSplit(
        before_v=slope,
        u_before_v=u_slope,
        after_code=intercept,
        u_after_code=u_intercept,
        freedom=gains_codes_per_v.shape[0] - 2,
    )


def split_noise(gains_codes_per_v: Floats, noises_code: Floats) -> NoiseSplit:
    """How much of the noise arises before the gain, and how much in the converter.

    Args:
        gains_codes_per_v: shape (n,), n >= 3, not all equal.
        noises_code: shape (n,), rms residuals of the fits, code steps.
    Returns:
        both parts, rms; a part that comes out negative within its scatter is zero.
    Raises:
        NotFinite: a gain or noise is not finite.
        FitFailed: as split_offset.
    Source:
        σ² = (e·G)² + e_c², a straight line in the squares.
    """
    slope, intercept, _, _ = _line(gains_codes_per_v**2, noises_code**2, "noise")
    return NoiseSplit(input_v=math.sqrt(max(slope, 0.0)), converter_code=math.sqrt(max(intercept, 0.0)))


def code_gaps(codes: Codes, *, amplitude_code: float) -> CodeGaps:
    """How many codes inside a record, or inside many pooled ones, are never used.

    Args:
        codes: shape (n,), n >= 1.
        amplitude_code: fitted amplitude, codes peak, > 0: says how many gaps chance explains.
    Returns:
        counts, share, longest run, and the share by chance.
    Raises:
        FitFailed: no codes.
        NotFinite: the amplitude is not a positive finite number.
    Source:
        common practice; chance: a code at distance x from the middle is hit by n/(π·√(A² - x²)) samples of a sine.
    """
    _positive(amplitude_code=amplitude_code)
    if codes.size == 0:
        raise FitFailed("code gaps: the record is empty; allowed is one sample or more: fetch it again")
    counts = np.bincount(codes.astype(np.int64) - int(codes.min()))[1:-1]
    empty = counts == 0
    edges = np.flatnonzero(np.diff(np.concatenate(([False], empty, [False])).astype(np.int8)))
    longest = int((edges[1::2] - edges[::2]).max()) if edges.size else 0
    middle = (np.arange(counts.size) - (counts.size - 1) / 2.0) / amplitude_code
    hits = codes.size / (math.pi * amplitude_code * np.sqrt(np.maximum(1.0 - middle**2, 1.0 / amplitude_code)))
    return CodeGaps(
        inner=int(counts.size),
        empty=int(empty.sum()),
        share_ratio=float(empty.mean()) if counts.size else 0.0,
        longest=longest,
        chance_ratio=float(np.exp(-hits).mean()) if counts.size else 0.0,
    )


def _line(x: Floats, y: Floats, what: str) -> tuple[float, float, float, float]:
    """Slope, intercept and their standard uncertainties."""
    if x.shape != y.shape or x.ndim != 1 or x.shape[0] < LEAST_GAINS:
        raise FitFailed(
            f"{what} against gain: shapes {x.shape} and {y.shape}; allowed are two equal ones of {LEAST_GAINS} "
            "settings or more"
        )
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise NotFinite(
            f"{what} against gain: a value is not finite; allowed are finite numbers: leave the setting out"
        )
    centred = x - x.mean()
    squares = float(centred @ centred)
    if not squares > 1e-12 * float(x @ x):
        raise FitFailed(f"{what} against gain: all gains are equal; allowed are at least two: add another setting")
    slope = float(centred @ y) / squares
    intercept = float(y.mean()) - slope * float(x.mean())
    residual = y - intercept - slope * x
    variance = float(residual @ residual) / (x.shape[0] - 2)
    u_intercept = math.sqrt(variance * (1.0 / x.shape[0] + float(x.mean()) ** 2 / squares))
    return slope, intercept, math.sqrt(variance / squares), u_intercept


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise NotFinite(f"converter figure: {name} is {value!r}; allowed is a positive finite number")
