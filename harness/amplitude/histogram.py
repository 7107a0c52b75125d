"""Sine histogram: where a converter's transitions lie, and how uneven its codes are."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from harness.amplitude.sine import Floats
from harness.errors import FitFailed, NotFinite
from harness.values import Codes

LEAST_CODES = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Linearity:
    """Non-linearity between the two outermost codes of a record; arrays are read-only."""

    first_code: int
    """Code of the first bin: the second least code seen."""
    dnl_lsb: Floats
    """Shape (m,): width of each code from first_code on, less the mean width, in mean widths; -1 is a missing code."""
    inl_lsb: Floats
    """Shape (m + 1,): each transition less its place on the line through the first and the last, in mean widths."""

    def __post_init__(self) -> None:
        self.dnl_lsb.setflags(write=False)
        self.inl_lsb.setflags(write=False)


def samples_for_every_code(bits: int) -> int:
    """How long a coherent record must be for a full-scale sine to visit every code.

    Args:
        bits: of the converter, >= 1.
    Returns:
        least number of samples, π·2^bits rounded up.
    Raises:
        NotFinite: bits below 1.
    Source:
        IEEE Std 1057 and 1241, from memory; numbers in tests/published/test_converter_figures.py.
    """
    if bits < 1:
        raise NotFinite(f"record length: {bits} bits; allowed is 1 or more")
    return math.ceil(math.pi * 2.0**bits)


def sine_histogram(codes: Codes) -> Linearity:
    """How wide each code is, from how often a sine visits it.

    Wants whole cycles and many samples a code: the scatter of a width is about 1/√(samples in it): pool many records.

    Args:
        codes: shape (n,), records of one sine that passes the outermost codes, raw codes.
    Returns:
        differential and integral non-linearity, with offset and gain taken out at the ends.
    Raises:
        FitFailed: fewer than four distinct codes.
    Source:
        IEEE Std 1241, sine-wave histogram (from memory): transition k at C - A·cos(π·share of the samples below it).
    """
    lowest = int(codes.min()) if codes.size else 0
    counts = np.bincount(codes.astype(np.int64) - lowest) if codes.size else np.zeros(0, dtype=np.int64)
    if np.count_nonzero(counts) < LEAST_CODES:
        raise FitFailed(
            f"sine histogram: {np.count_nonzero(counts)} distinct codes; allowed are {LEAST_CODES} or more: "
            "raise the level"
        )
    below = np.cumsum(counts[:-1]) / codes.size
    transitions = -np.cos(math.pi * below)
    widths = np.diff(transitions)
    mean = (transitions[-1] - transitions[0]) / widths.size
    ideal = transitions[0] + mean * np.arange(transitions.size)
    return Linearity(first_code=lowest + 1, dnl_lsb=widths / mean - 1.0, inl_lsb=(transitions - ideal) / mean)
