"""Stages whose gain is a power of a binary-weighted code; what linear code and multiplying converters share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

import numpy as np

from harness.config.model import Count, Finite, Name
from harness.law.stages.bit_terms import bit_flaws, carry_ratio, weight_steps
from harness.law.stages.control import Arrays, Control
from harness.law.stages.kind import CodeStage, Flaw, Floats, Parameter, Term

MOST_BITS = 24
LEAST = 1e-9
"""Code steps below which a sum of bit weights counts as this: a fit may try weights that leave nothing."""


class BinaryCodeStage(CodeStage):
    """Gain = scale · code**power, power 1 or -1. Code 0 has no gain, so it is never a legal code."""

    power: ClassVar[int] = 1
    scale_name: ClassVar[str]
    """The parameter that scales all codes alike."""

    control: Name
    bits: Count
    """At most MOST_BITS."""
    lowest_code: Count = 1
    """Lowest code that the firmware may use; the highest is 2**bits - 1."""
    carry_percent: dict[Name, Finite] | None = None
    """By how much the gain is more while a bit is set, where it is known: a step where that bit comes in."""
    weight_percent: dict[Name, Finite] | None = None
    """By how much the weight of a bit is more than 2**bit, where it is known."""

    def scale(self) -> float:
        """Gain at code 1, V/V."""
        raise NotImplementedError  # pragma: no cover - each kind has its own

    @property
    def falling(self) -> bool:
        """Whether the code divides; see CodeStage.falling."""
        return self.power < 0

    def flaws(self) -> tuple[Flaw, ...]:
        """Too many bits, or a lowest code above the highest; see StageKind.flaws."""
        if self.bits > MOST_BITS:
            return (Flaw("bits", str(self.bits), f"1 to {MOST_BITS}"),)
        if self.lowest_code >= 2**self.bits:
            allowed = f"1 to {2**self.bits - 1}, for bits = {self.bits}"
            return (Flaw("lowest_code", str(self.lowest_code), allowed),)
        carries = bit_flaws("carry_percent", self.carry_percent, self.bits)
        return carries + bit_flaws("weight_percent", self.weight_percent, self.bits)

    def needs(self) -> tuple[Control, ...]:
        """The code; see StageKind.needs."""
        return (Control(name=self.control, values=range(self.lowest_code, 2**self.bits), bits=self.bits),)

    def gains_ratio(self, arrays: Arrays) -> Term:
        """Scale times or over the code as its bits weigh it, for codes below the lowest legal one too, 0 for code 0."""
        number = arrays[self.control]
        code = self._weighed(number)
        if not self.falling:
            return code * self.scale() * self._carries(number)
        return np.where(number > 0, self.scale() / np.maximum(code, LEAST), 0.0) * self._carries(number)

    def exact_codes(self, gains_ratio: Floats) -> Floats:
        """Gain over scale, or scale over gain: firmware knows no departures of bits; see CodeStage.exact_codes."""
        return self.scale() / gains_ratio if self.falling else gains_ratio / self.scale()

    def parameters(self) -> tuple[Parameter, ...]:
        """The scale, the weight of each bit, and code steps off in each code."""
        weights = tuple(
            Parameter(
                name=f"bit_{bit}",
                nominal=float(2**bit),
                fitted=f"{self.control} bit {bit}",
                weight=True,
            )
            for bit in range(self.bits)
        )
        inl = Parameter(name="inl_lsb", nominal=0.0, unit="lsb", independent=True)
        return (Parameter(name=self.scale_name, nominal=self.scale()), *weights, inl)

    def sensitivities(self, arrays: Arrays, changes: Mapping[str, float]) -> dict[str, Term]:
        """1 for the scale, the share of each bit in the code where the bits' weights now are, one code step."""
        code = arrays[self.control]
        over = self.power / np.maximum(self._weighed(code, changes), LEAST)
        found: dict[str, Term] = {self.scale_name: 1.0}
        for bit in range(self.bits):
            found[f"bit_{bit}"] = (code >> bit & 1) * 2.0**bit * over
        found["inl_lsb"] = over
        return found

    def log_change(self, arrays: Arrays, changes: Mapping[str, float]) -> Term:
        """Exact in the bit weights, which add before the logarithm; see StageKind.log_change."""
        code = arrays[self.control]
        moved = np.maximum(self._weighed(code, changes), LEAST) / np.maximum(self._weighed(code), LEAST)
        return self.power * np.log(np.where(code > 0, moved, 1.0)) + changes.get(self.scale_name, 0.0)

    def _carries(self, code: np.ndarray) -> Term:
        return carry_ratio(self.carry_percent, code) if self.carry_percent else 1.0

    def _weighed(self, code: np.ndarray, changes: Mapping[str, float] | None = None) -> Floats:
        """The code with its bits' weights where they are known to be, and where a fit has moved them."""
        total = code.astype(np.float64)
        if self.weight_percent:
            total = total + weight_steps(self.weight_percent, code)
        for bit in range(self.bits) if changes else ():
            change = changes.get(f"bit_{bit}", 0.0) if changes else 0.0
            if change:
                total = total + (code >> bit & 1) * (2.0**bit * change)
        return total
