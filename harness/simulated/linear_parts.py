"""A channel whose gain is linear in the code of the word, with a pre-gain bit above the code."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from harness.simulated.parts import ChannelParts


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LinearParts(ChannelParts):
    """A multiplying ladder: one weight for each bit of the code."""

    per_code_ratio: float
    """V/V for each code, output open."""
    bit_error_ratio: tuple[float, ...]
    """Relative error of each bit weight, least significant first."""
    carry_ratio: float
    """Relative step of the gain where the top bit is set."""
    zero_code: float = 0.0
    """What still comes through at code 0, codes."""
    bandwidth_hz: float
    gain_bandwidth_hz: float

    def with_bit(self, bit: int, error_ratio: float) -> LinearParts:
        """One leg of the ladder."""
        errors = list(self.bit_error_ratio)
        errors[bit] += error_ratio
        return replace(self, bit_error_ratio=tuple(errors))

    def with_carry(self, error_ratio: float) -> LinearParts:
        """The top leg's switch."""
        return replace(self, carry_ratio=self.carry_ratio * (1.0 + error_ratio))

    def word_gain(self, word: int) -> float:
        """Pre-gain and code, V/V."""
        bits = len(self.bit_error_ratio)
        weight = sum(2.0**k * (1.0 + error) for k, error in enumerate(self.bit_error_ratio) if word >> k & 1)
        carry = self.carry_ratio if word >> (bits - 1) & 1 else 1.0
        pregain = self.pregain_ratio if word >> bits & 1 else 1.0
        codes = weight * carry + self.zero_code
        return pregain * self.per_code_ratio * codes * self.loading_ratio * self.common_ratio

    def corner_hz(self, picked: frozenset[str], word: int) -> float:
        """Falls with the gain behind the relays."""
        del picked
        return 1.0 / math.hypot(1.0 / self.bandwidth_hz, self.word_gain(word) / self.gain_bandwidth_hz)
