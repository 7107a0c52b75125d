"""What speaks against a record, each with a reason: clip before the converter, few cycles, stale, too quiet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from harness.amplitude.rounding import dc_bias_code, worst_bias_ratio
from harness.amplitude.tones import fit_sines, harmonics_hz
from harness.errors import FitFailed, NotFinite
from harness.values import Codes, db_from_ratio

FEW_CYCLES = 10.0
"""Common practice: ten periods or more."""
THIRD_HARMONIC_RATIO = 0.01
"""-40 dB."""
NEAR_TOP_RATIO = 0.01
"""Of the peak. A sine spends 4.5 % of its time so near; clipped so that its third harmonic is -40 dB, twice that."""
FLAT_TOP_RATIO = 2.0
QUIET_CODE = 0.3
"""Noise below which rounding no longer averages out (common practice; numbers in tests/published)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """One thing that speaks against a record."""

    name: str
    """In kebab-case."""
    severity: Literal["invalid", "flag"]
    """invalid: the record must not be judged; flag: judge it, and say so."""
    reason: str
    """For people: what was got, what is allowed, what to do."""


def too_few_cycles(*, samples: int, sample_rate_hz: float, frequency_hz: float) -> Flag | None:
    """Whether a record holds enough of the signal.

    Args:
        samples: in the record, >= 1.
        sample_rate_hz: samples a second, > 0.
        frequency_hz: of the signal, > 0.
    Returns:
        invalid below one cycle, flag below ten, else nothing.
    Raises:
        NotFinite: rate or frequency is not a positive finite number.
    Source:
        common practice, no source: ten periods or more.
    """
    for name, value in (("sample_rate_hz", sample_rate_hz), ("frequency_hz", frequency_hz)):
        if not (math.isfinite(value) and value > 0.0):
            raise NotFinite(f"cycles: {name} is {value!r}; allowed is a positive finite number")
    cycles = samples * frequency_hz / sample_rate_hz
    if cycles >= FEW_CYCLES - 1e-9:
        return None
    return Flag(
        name="too-few-cycles",
        severity="flag" if cycles >= 1.0 - 1e-9 else "invalid",
        reason=f"{cycles:.3g} cycles of {frequency_hz:g} Hz in the record; allowed are {FEW_CYCLES:g} or more: "
        "take a longer record or a higher frequency",
    )


def clip_before_converter(codes: Codes, *, sample_rate_hz: float, frequency_hz: float) -> tuple[Flag, ...]:
    """Whether the signal was clipped before it reached the converter.

    Args:
        codes: shape (n,), n >= 10, raw codes.
        sample_rate_hz: samples a second, > 0.
        frequency_hz: of the signal; its third harmonic must not fall on itself, on DC or on half the rate.
    Returns:
        a flag for a third harmonic above -40 dB of the signal; invalid when the tops are flat as well.
    Raises:
        NotFinite: as fit_sine3.
        TooFewCycles: as fit_sine3.
        FitFailed: as fit_sines: fewer than 10 samples, or the third harmonic cannot be told from the signal.
    Source:
        common practice, no source: third harmonic of the fit above -40 dB.
    """
    (third_hz,) = harmonics_hz(frequency_hz, (3,), sample_rate_hz=sample_rate_hz)
    found = fit_sines(codes, sample_rate_hz=sample_rate_hz, frequency_hz=frequency_hz, extra_hz=(third_hz,))
    amplitude_code, third_code = found.signal.amplitude_code, found.extra[0].amplitude_code
    # A single harmonic of noise alone has an amplitude of about σ·√(π/N): four times that is no harmonic.
    noise_code = 4.0 * found.signal.noise_code * math.sqrt(math.pi / codes.shape[0])
    if amplitude_code <= 0.0 or third_code <= max(THIRD_HARMONIC_RATIO * amplitude_code, noise_code):
        return ()
    level_db = db_from_ratio(third_code / amplitude_code)
    third = f"third harmonic {level_db:.1f} dB of the signal; allowed is -40 dB"
    advice = "the signal may clip before the converter: lower the level and measure again"
    flags = [Flag(name="third-harmonic", severity="flag", reason=f"{third}; {advice}")]
    half_span_code = (float(codes.max()) - float(codes.min())) / 2.0
    near_code = max(NEAR_TOP_RATIO * half_span_code, 1.0)
    expected = codes.size * math.acos(max(-1.0, 1.0 - near_code / half_span_code)) / math.pi
    top, bottom = codes >= codes.max() - near_code, codes <= codes.min() + near_code
    near_top = int(max(np.count_nonzero(top), np.count_nonzero(bottom)))
    if near_top > FLAT_TOP_RATIO * expected:
        seen = f"{near_top} samples within {near_code:.3g} codes of a peak where a sine leaves {expected:.0f}"
        flags.append(Flag(name="flat-top", severity="invalid", reason=f"{seen}, and {third}; lower the level"))
    return tuple(flags)


def stale_record(codes: Codes, previous: Codes) -> Flag | None:
    """Whether a record is the previous one, read again.

    Args:
        codes: shape (n,), the record just fetched.
        previous: shape (m,), the record fetched before.
    Returns:
        invalid when all codes are the same; a flag when they are and the record is constant (a dead input repeats
        itself honestly); else nothing.
    Raises:
        FitFailed: a record is empty.
    Source:
        common practice, no source: two records with noise are never identical.
    """
    if codes.size == 0 or previous.size == 0:
        raise FitFailed(
            f"stale record: {codes.size} and {previous.size} samples; allowed is one or more in each: fetch again"
        )
    if not np.array_equal(codes, previous):
        return None
    constant = bool(codes.min() == codes.max())
    what = "both records are constant and equal" if constant else f"all {codes.size} codes equal the previous record"
    return Flag(
        name="stale-record",
        severity="flag" if constant else "invalid",
        reason=f"{what}: stop, arm a single acquisition, wait for it, fetch again",
    )


def low_noise(*, residual_code: float, amplitude_code: float) -> Flag | None:
    """Whether so little noise leaves the amplitude at the mercy of rounding, and by how much.

    Args:
        residual_code: rms residual of the sine fit, quantisation included, code steps, >= 0.
        amplitude_code: fitted amplitude, code steps peak, > 0.
    Returns:
        a flag with the worst bias below 0.3 code of noise, else nothing.
    Raises:
        NotFinite: an argument is not finite, the residual negative or the amplitude not positive.
    Source:
        exact series of a rounded sine (rounding.py); limit 0.3: common practice.
    """
    if not (math.isfinite(residual_code) and residual_code >= 0.0):
        raise NotFinite(f"low noise: residual_code is {residual_code!r}; allowed is a finite number, not negative")
    if not (math.isfinite(amplitude_code) and amplitude_code > 0.0):
        raise NotFinite(f"low noise: amplitude_code is {amplitude_code!r}; allowed is a positive finite number")
    noise_code = math.sqrt(max(residual_code**2 - 1.0 / 12.0, 0.0))
    if noise_code >= QUIET_CODE:
        return None
    worst = worst_bias_ratio(amplitude_code, noise_code=noise_code)
    return Flag(
        name="low-noise",
        severity="flag",
        reason=f"noise {noise_code:.2f} code steps (residual {residual_code:.2f} less quantisation), below "
        f"{QUIET_CODE:g}: rounding can bias an amplitude of {amplitude_code:.4g} codes by {100.0 * worst:.2g} %, a "
        f"mean by {dc_bias_code(noise_code):.2g} codes, and averaging does not help: add noise or step the level",
    )


def quiet_level(noise_code: float) -> Flag | None:
    """Whether the mean of a steady level that was not dithered is at the mercy of rounding.

    Args:
        noise_code: noise before the rounding, rms code steps, >= 0.
    Returns:
        a flag below 0.3 code steps, else nothing.
    Raises:
        NotFinite: the noise is negative or not finite.
    Source:
        as dc_bias_code; limit 0.3: common practice.
    """
    if not (math.isfinite(noise_code) and noise_code >= 0.0):
        raise NotFinite(f"quiet level: noise_code is {noise_code!r}; allowed is a finite number, not negative")
    if noise_code >= QUIET_CODE:
        return None
    return Flag(
        name="quiet-level",
        severity="flag",
        reason=f"at most {noise_code:.2f} code steps of noise, below {QUIET_CODE:g}: rounding can move the mean of a "
        f"level by up to {dc_bias_code(0.0):g} codes and averaging does not help: let the job dither (extra.dither), "
        "or take a source of finer steps where none is planned",
    )
