"""Fit of a sine together with hum and harmonics."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from harness.amplitude.sine import Floats, Samples, checked_record, fit_sine3
from harness.errors import FitFailed, NotFinite
from harness.values import SineFit

LARGEST_CONDITION = 1e3
"""Above it the amplitudes of neighbouring tones are mostly each other's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """One line beside the signal."""

    frequency_hz: float
    amplitude_code: float
    """Peak, >= 0."""
    phase_rad: float
    """Of a·sin(ωt + φ), in (-π, π]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneFit:
    """The signal, cleared of the other tones, and those tones."""

    signal: SineFit
    """Its residual is what no tone explains; n - 3 - 2·(extra tones) degrees of freedom."""
    extra: tuple[Tone, ...]
    """In the order asked for."""
    offset_spread_ratio: float = 1.0
    """Standard uncertainty of the offset over noise/√n: a line with hardly a period in the record is much like one."""


def harmonics_hz(frequency_hz: float, orders: Sequence[int], *, sample_rate_hz: float) -> tuple[float, ...]:
    """Where harmonics of a sampled signal appear.

    Args:
        frequency_hz: of the fundamental, > 0.
        orders: 2 for the second harmonic, and so on.
        sample_rate_hz: samples a second, > 0; lines above half of it are folded back.
    Returns:
        one frequency for each order, 0 <= f <= sample_rate_hz / 2.
    Source:
        sampling theorem.
    """
    return tuple(abs(math.remainder(order * frequency_hz, sample_rate_hz)) for order in orders)


def mains_hz(line_hz: float, *, up_to_hz: float) -> tuple[float, ...]:
    """Where hum may stand.

    Args:
        line_hz: frequency of the mains, 50 or 60, > 0.
        up_to_hz: highest harmonic wanted.
    Returns:
        the mains and its harmonics, rising.
    Source:
        definition of a harmonic.
    """
    return tuple(line_hz * order for order in range(1, int(up_to_hz / line_hz + 1e-9) + 1))


def fit_sines(
    samples: Samples, *, sample_rate_hz: float, frequency_hz: float, extra_hz: Sequence[float] = ()
) -> ToneFit:
    """How large the signal is, and how large hum, harmonics or other known lines beside it.

    Args:
        samples: shape (n,), n >= 8 + 2·len(extra_hz), finite; usually converter codes.
        sample_rate_hz: samples a second, > 0.
        frequency_hz: of the signal, 0 < frequency_hz < sample_rate_hz / 2, at least one cycle in the record.
        extra_hz: of the other tones, each > 0 and below half the rate.
    Returns:
        the signal's fit and one tone for each extra frequency, in the unit of the samples.
    Raises:
        NotFinite: as fit_sine3; or an extra frequency is not a positive finite number.
        TooFewCycles: as fit_sine3.
        FitFailed: as fit_sine3; too few samples for so many tones; an extra frequency at or above half the rate; or
            tones so near to each other, or the record so short, that they cannot be told apart.
    Source:
        linear least squares with more columns (IEEE Std 1057, three-parameter fit); tests/amplitude/test_tones.py.
    """
    if not extra_hz:
        return ToneFit(signal=fit_sine3(samples, sample_rate_hz=sample_rate_hz, frequency_hz=frequency_hz), extra=())
    record = checked_record(samples, sample_rate_hz=sample_rate_hz, frequency_hz=frequency_hz)
    length, wanted_hz = record.shape[0], (frequency_hz, *extra_hz)
    _check_extra(extra_hz, sample_rate_hz, length)
    rows, triangle = _basis(length, sample_rate_hz, wanted_hz)
    # Not `@`: for long records that wakes the threads of the linear algebra library, which costs more than the product.
    projections = np.einsum("ij,i->j", rows, record)
    residual = record - np.einsum("ij,j->i", rows, projections)
    factors = np.linalg.solve(triangle, projections)
    tones = [
        Tone(
            frequency_hz=tone_hz,
            amplitude_code=math.sqrt(2.0) * math.hypot(factors[1 + 2 * place], factors[2 + 2 * place]),
            phase_rad=math.atan2(factors[2 + 2 * place], factors[1 + 2 * place]),
        )
        for place, tone_hz in enumerate(wanted_hz)
    ]
    signal = SineFit(
        amplitude_code=tones[0].amplitude_code,
        offset_code=float(factors[0]),
        phase_rad=tones[0].phase_rad,
        noise_code=math.sqrt(float(np.einsum("i,i->", residual, residual)) / (length - rows.shape[1])),
        samples=length,
    )
    # The offset is the first row of the inverse of the triangle times projections of equal variance.
    spread = np.linalg.solve(triangle.T, np.eye(rows.shape[1])[0])
    return ToneFit(
        signal=signal,
        extra=tuple(tones[1:]),
        offset_spread_ratio=math.sqrt(length * float(np.einsum("i,i->", spread, spread))),
    )


def tones_of(tones: Sequence[Tone], *, samples: int, sample_rate_hz: float) -> Floats:
    """The lines that a fit found.

    Args:
        tones: of a fit; none gives nothing but zeros.
        samples: length of the record.
        sample_rate_hz: samples a second, > 0.
    Returns:
        shape (samples,), their sum.
    Source:
        definition of a tone.
    """
    index, total = np.arange(samples), np.zeros(samples)
    for tone in tones:
        angle_rad = (2.0 * math.pi * tone.frequency_hz / sample_rate_hz) * index + tone.phase_rad
        total += tone.amplitude_code * np.sin(angle_rad)
    return total


@lru_cache(maxsize=4)
def _basis(length: int, sample_rate_hz: float, wanted_hz: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Orthonormal columns and their triangle; the records of a run share them."""
    index = np.arange(length)
    columns = [np.ones(length)]
    for tone_hz in wanted_hz:
        angle_rad = (2.0 * math.pi * tone_hz / sample_rate_hz) * index
        columns += [np.sin(angle_rad) * math.sqrt(2.0), np.cos(angle_rad) * math.sqrt(2.0)]
    rows, triangle = np.linalg.qr(np.column_stack(columns))
    condition = float(np.linalg.cond(triangle))
    if not condition < LARGEST_CONDITION:
        listed = ", ".join(f"{tone_hz:g}" for tone_hz in wanted_hz)
        raise FitFailed(
            f"sine fit with extra tones: {listed} Hz cannot be told apart in {length / sample_rate_hz:g} s "
            f"(condition number {condition:.1e}, allowed below {LARGEST_CONDITION:.0e}): "
            "take a longer record or leave out a tone"
        )
    rows.setflags(write=False)
    triangle.setflags(write=False)
    return rows, triangle


def _check_extra(extra_hz: Sequence[float], sample_rate_hz: float, length: int) -> None:
    needed = 8 + 2 * len(extra_hz)
    if length < needed:
        raise FitFailed(
            f"sine fit with extra tones: {length} samples for {len(extra_hz)} extra tones; allowed are {needed} or "
            "more: take a longer record"
        )
    for tone_hz in extra_hz:
        if not (math.isfinite(tone_hz) and tone_hz > 0.0):
            raise NotFinite(f"sine fit with extra tones: {tone_hz!r} Hz; allowed is a positive finite number")
        if not tone_hz < sample_rate_hz / 2.0:
            raise FitFailed(
                f"sine fit with extra tones: {tone_hz:g} Hz sampled at {sample_rate_hz:g} Hz; allowed is less than "
                "half the sample rate: fold it back first (harmonics_hz) or sample faster"
            )
