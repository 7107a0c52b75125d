"""What a waveform test found, and how its number becomes a word."""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass

LLR_CAP = 7.0
"""e^7 is 1 100 to 1: no single test may win alone, since it may rest on a wrong model."""
SAYS_LLR = math.log(100.0)
"""A test speaks from 100 to 1 on."""
FOUND_DISTANCE = 1.2816 + math.sqrt(1.2816**2 + 2.0 * SAYS_LLR)
"""Standard deviations between the two expectations at which a test speaks in nine cases of ten."""


class Says(enum.StrEnum):
    """What one test says of a step."""

    HARDWARE = "hardware"
    ARITHMETIC = "arithmetic"
    CANNOT_TELL = "cannot-tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class WaveformTest:
    """One test of one step."""

    name: str
    """W1 to W7, W2' for reductions."""
    llr: float
    """Log-likelihood ratio, hardware over arithmetic, capped at ±7; 0 when the precondition is not met."""
    says: Says
    precondition_met: bool
    why: str
    """For people: the numbers, or the precondition that is missing."""
    power_m: float | None
    """Smallest magnification that these records could have told; None when none at all."""
    factor: float | None = None
    """Arithmetic part that the test found, as a ratio; None where it finds none by itself."""
    u_factor_ratio: float = 0.0
    """Expanded uncertainty of `factor`, relative; 0 where it was counted."""


def decided(
    name: str, llr: float, why: str, power_m: float | None, *, factor: float | None = None, u_factor_ratio: float = 0.0
) -> WaveformTest:
    """The result of a test whose precondition is met.

    Args:
        name: of the test.
        llr: log-likelihood ratio, hardware over arithmetic; it is capped here.
        why: the numbers in words.
        power_m: smallest magnification that could have been told; None when none.
        factor: arithmetic part found, ratio.
        u_factor_ratio: its expanded uncertainty, relative.
    Returns:
        the result; it says something from 100 to 1 on.
    Source:
        common practice, no source: capped log-likelihoods.
    """
    capped = max(-LLR_CAP, min(LLR_CAP, llr))
    says = Says.CANNOT_TELL
    if abs(capped) >= SAYS_LLR:
        says = Says.HARDWARE if capped > 0.0 else Says.ARITHMETIC
    return WaveformTest(
        name=name, llr=capped, says=says, precondition_met=True, why=why, power_m=power_m, factor=factor,
        u_factor_ratio=u_factor_ratio,
    )  # fmt: skip


def unmet(name: str, why: str) -> WaveformTest:
    """The result of a test that cannot be made on these records.

    Args:
        name: of the test.
        why: the precondition that is missing.
    Returns:
        a result that says nothing.
    Source:
        common practice, no source.
    """
    return WaveformTest(name=name, llr=0.0, says=Says.CANNOT_TELL, precondition_met=False, why=why, power_m=None)


def gaussian_llr(value: float, *, hardware: float, arithmetic: float, u: float) -> float:
    """How much more likely a measured value is under one expectation than under the other.

    A value beyond an expectation counts as that expectation: two that lie close together can never be told apart,
    however far off both the value is.

    Args:
        value: measured, any unit.
        hardware: its expectation for hardware, same unit.
        arithmetic: its expectation for arithmetic, same unit.
        u: standard uncertainty, same unit, > 0.
    Returns:
        log-likelihood ratio, hardware over arithmetic, not capped.
    Source:
        normal distribution.
    """
    value = max(min(hardware, arithmetic), min(max(hardware, arithmetic), value))
    return ((value - arithmetic) ** 2 - (value - hardware) ** 2) / (2.0 * u * u)
