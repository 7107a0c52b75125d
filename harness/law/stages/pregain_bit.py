"""pregain-bit: one bit that multiplies the gain when set."""

from __future__ import annotations

from typing import ClassVar

from harness.config.model import Name, Positive
from harness.errors import UsageError
from harness.law.stages.kind import Control, Controls, StageKind, number_of


class PregainBit(StageKind):
    """The gain with the bit set; with the bit clear it is 1."""

    kind: ClassVar[str] = "pregain-bit"

    control: Name
    ratio: Positive
    """Gain with the bit set over gain with the bit clear."""

    def needs(self) -> tuple[Control, ...]:
        """The bit; see StageKind.needs."""
        return (Control(name=self.control, values=(0, 1), bits=1),)

    def gain_ratio(self, controls: Controls) -> float:
        """1 or the ratio; see StageKind.gain_ratio."""
        bit = number_of(controls, self.control)
        if bit not in (0, 1):
            raise UsageError(f"control {self.control}: got {bit}; allowed is 0 or 1")
        return self.ratio if bit else 1.0
