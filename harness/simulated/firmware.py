"""What the firmware of a simulated unit decides for one setting: relays, word, arithmetic."""

from __future__ import annotations

import math
from dataclasses import dataclass

_TIE = 1.0e-9
"""A wanted code of x.5 in exact arithmetic goes up, whatever the rounding of its floats."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What the firmware does for one setting."""

    word: int
    """For the gain device."""
    word_bits: int
    relays: frozenset[str] = frozenset()
    """Relays that are driven beside the word."""
    gain_codes_per_v: float
    """Nominal, of the hardware alone."""
    codes_ratio: float = 1.0
    """By how much codes are multiplied after the converter, as the range declares."""
    fine_ratio: float = 1.0
    """How much more gain than at fine position 0 is wanted."""
    hidden_ratio: float = 1.0
    """The same, undeclared."""

    @property
    def scale_v_per_code(self) -> float:
        """Nominal input volts an output code, as displayed."""
        return 1.0 / (self.gain_codes_per_v * self.codes_ratio * self.hidden_ratio)


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """The setting that a plan is made for."""

    coarse: int
    fine: int
    middle: tuple[int, int]
    """Coarse and fine in the middle of both tables: the place of faults that sit in one row."""
    first: Plan
    """What the firmware does for fine position 0 of the range."""

    @property
    def in_the_middle(self) -> bool:
        """Whether it is that row."""
        return (self.coarse, self.fine) == self.middle


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What the displayed scale is made of."""

    scale_v_per_code: float
    before_v_per_code: float
    """The scale of the setting before."""
    request: Request | None
    """None for a device without settings of its own."""


def nearest(code: float) -> int:
    """The whole code nearest to a real one, half-way cases up."""
    return math.floor(code + 0.5 + _TIE)
