"""What may be added to a law of a code where its residuals ask for it: ripple, carry, weight of a bit, pole."""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.learn.explain.shapes import Floats, Shape


class TermKind(enum.StrEnum):
    """The corrections of a code that a device file knows."""

    RIPPLE = "ripple"
    """Of a gain linear in dB: a sine along the code."""
    CARRY = "carry"
    """A factor while one bit of the code is set."""
    WEIGHT = "weight"
    """A bit of a number that weighs more than its place."""
    POLE = "pole"
    """A gain-bandwidth product: the more gain, the more is lost."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """One correction, up to its size."""

    kind: TermKind
    bit: int = 0
    """Of carry and weight: significance in the code."""
    period_code: float = 1.0
    """Of a ripple."""
    slope: float = 0.0
    """Of a pole of a law linear in dB: ln gain for each code."""
    strength: float = 0.0
    """Of a pole: (f/f_c)² at relative gain 1 around which it is linear in its size."""

    def columns(self, shape: Shape, codes: npt.NDArray[np.int64]) -> Floats:
        """The columns whose weights are the size of the correction.

        Args:
            shape: of the law.
            codes: shape (n,).
        Returns:
            shape (n, 2) for a ripple, sine and cosine; else (n, 1).
        Source:
            ln of a sine's factor, of a factor, of (code + w·2**k)/code to first order in w, of 1/√(1 + (f/f_c)²).
        """
        match self.kind:
            case TermKind.RIPPLE:
                turns = 2.0 * np.pi * codes / self.period_code
                return np.stack((np.sin(turns), np.cos(turns)), axis=1)
            case TermKind.CARRY:
                return (codes >> self.bit & 1).astype(np.float64)[:, None]
            case TermKind.WEIGHT:
                share = (codes >> self.bit & 1) * 2.0**self.bit / np.maximum(codes, 1)
                return np.asarray((-share if shape is Shape.MDAC_FEEDBACK else share)[:, None], dtype=np.float64)
        square = relative_gain(shape, codes, slope=self.slope) ** 2
        if self.strength <= 0.0:
            return np.asarray(-0.5 * square[:, None])
        return np.asarray(-0.5 * np.log1p(self.strength * square)[:, None] / self.strength)

    @property
    def parameters(self) -> int:
        """How many numbers it adds: those of its columns, and the period of a ripple."""
        return 3 if self.kind is TermKind.RIPPLE else 1


def relative_gain(shape: Shape, codes: npt.NDArray[np.int64], *, slope: float) -> Floats:
    """Gain of a code up to the law's scale.

    Args:
        shape: of the law.
        codes: shape (n,).
        slope: of a law linear in dB, ln for each code.
    Returns:
        shape (n,): the code, its inverse, or the exponential.
    Source:
        definitions of the stages.
    """
    if shape is Shape.LINEAR_IN_DB:
        return np.asarray(np.exp(slope * codes))
    plain = np.maximum(codes, 1).astype(np.float64)
    return plain if shape is Shape.LINEAR_CODE else 1.0 / plain
