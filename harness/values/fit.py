"""A fitted sine, and what can be said about the record it came from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class SineFit:
    """Amplitude, phase, offset of a sine of known frequency, in the unit of the samples (codes)."""

    amplitude_code: float
    """Peak, >= 0."""
    offset_code: float
    phase_rad: float
    """Of a·sin(ωt + φ), in (-π, π]."""
    noise_code: float
    """RMS of the residual, n - 3 degrees of freedom."""
    samples: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """Whether a record may be judged."""

    fill_ratio: float
    """(max - min) / converter span."""
    railed: int
    """Samples at a rail code."""
    code_spacing: int
    """Greatest common divisor of the differences between distinct codes; 1 when fewer than three are seen."""
    clipped: bool
    underfilled: bool
    reason: str
    """Empty when the record is sound."""
