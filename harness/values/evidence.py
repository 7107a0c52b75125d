"""What words and waveform each say of a setting or step, beside what was decided."""

from __future__ import annotations

import enum
from dataclasses import dataclass


class Realness(enum.StrEnum):
    """What a fine or coarse step, or a setting, turned out to be."""

    HARDWARE = "hardware"
    ARITHMETIC = "arithmetic"
    MIXED = "mixed"
    UNPROVEN = "unproven"
    FAULT = "fault"


@dataclass(frozen=True, slots=True, kw_only=True)
class WaveformFinding:
    """One waveform test of two records."""

    name: str
    """W1 to W7, W2' for reductions."""
    against: str
    """The setting that served as reference, for people."""
    met: bool
    """Whether the records meet the test's precondition."""
    says: str
    """hardware, arithmetic or cannot-tell."""
    llr: float
    """Log-likelihood ratio, hardware over arithmetic, capped; 0 when the precondition is not met."""
    power_m: float | None
    """Smallest magnification that these records could have told; None when none."""
    factor: float | None
    """Arithmetic part that the test found; None where it finds none by itself."""
    why: str
    """The numbers, or the precondition that is missing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RealnessEvidence:
    """Words alone, waveform alone, and both."""

    words: Realness
    """By control words and code-domain gain; unproven where no words were captured."""
    words_why: str
    waveform: Realness
    """By the waveform alone."""
    waveform_why: str
    both: Realness
    """What counts: words decide, waveforms confirm or contradict."""
    contradiction: bool
    """Whether words and waveform cannot both be true."""
    confidence: float
    """Probability that the waveform's class is right, at even odds before; 0.5 for unproven."""
    power_m: float | None
    """Smallest magnification that any test of these records could have told; None when none."""
    hardware_ratio: float | None
    """Hardware part of the ratio to the reference; None where it is not known."""
    arithmetic_ratio: float | None
    """Arithmetic part of it; their product is what the names of the two settings say."""
    tests: tuple[WaveformFinding, ...] = ()
    code_step_in_v: float | None = None
    """Mean distance of the values that a setting's record can take, referred to the input, V; None of a step."""
    clip_in_vpk: float | None = None
    """Where a setting's overdriven record ends, referred to the input, V peak; None without one that clips."""
