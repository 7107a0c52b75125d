"""switched-gain: an amplifier whose feedback is switched between named gains."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

import numpy as np

from harness.config.model import Name, NotNegative, Positive
from harness.law.stages.control import Arrays
from harness.law.stages.kind import Flaw, Parameter, Term
from harness.law.stages.positions import PositionStage


class SwitchedGain(PositionStage):
    """A gain by position, such as 1-2-5-10; a switch in the ground leg takes some of it away.

    With `feedback_ohm` the gain is 1 + R_f/(R_g + R_on), where R_g = R_f/(gain - 1) makes the gain without the switch.
    """

    kind: ClassVar[str] = "switched-gain"

    gains: dict[Name, Positive]
    """Gain by position with ideal switches, V/V."""
    feedback_ohm: Positive | None = None
    """R_f; left out where no current flows in the switches."""
    on_ohm: NotNegative = 0.0
    """R_on of a closed switch."""

    def table(self) -> Mapping[str, float]:
        """The gains with real switches."""
        return {name: self._real(gain) for name, gain in self.gains.items()}

    def flaws(self) -> tuple[Flaw, ...]:
        """On-resistance without the resistor that it works against; see StageKind.flaws."""
        if self.on_ohm > 0.0 and self.feedback_ohm is None:
            return (Flaw("feedback_ohm", "nothing", f"the feedback resistor, for on_ohm = {self.on_ohm:g}"),)
        below = [name for name, gain in self.gains.items() if gain < 1.0]
        if below and self.feedback_ohm is not None:
            return (Flaw(f"gains.{below[0]}", f"{self.gains[below[0]]:g}", "1 or more, with feedback_ohm"),)
        return super().flaws()

    def parameters(self) -> tuple[Parameter, ...]:
        """Each position, and the resistances."""
        found = super().parameters()
        if self.feedback_ohm is None:
            return found
        return (
            *found,
            Parameter(name="on_ohm", nominal=self.on_ohm),
            Parameter(name="feedback_ohm", nominal=self.feedback_ohm),
        )

    def sensitivities(self, arrays: Arrays, changes: Mapping[str, float]) -> dict[str, Term]:
        """1 in each position; on-resistance and feedback resistor by what the switch takes away."""
        found = super().sensitivities(arrays, changes)
        if self.feedback_ohm is not None:
            moved = [self._of_on_ohm(gain) for gain in self.gains.values()]
            found["on_ohm"] = np.asarray([*moved, 0.0])[arrays[self.control]]
            found["feedback_ohm"] = -found["on_ohm"]
        return found

    def _ground_ohm(self, gain: float) -> float:
        return (self.feedback_ohm or 0.0) / (gain - 1.0)

    def _real(self, gain: float) -> float:
        if self.feedback_ohm is None or gain <= 1.0:
            return gain
        return 1.0 + self.feedback_ohm / (self._ground_ohm(gain) + self.on_ohm)

    def _of_on_ohm(self, gain: float) -> float:
        """d ln G / d ln R_on; R_g follows R_f, so R_f counts the other way round."""
        if gain <= 1.0:
            return 0.0
        real = self._real(gain)
        return -(real - 1.0) / real * self.on_ohm / (self._ground_ohm(gain) + self.on_ohm)
