"""pregain-bit: one bit that multiplies the gain when set."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

import numpy as np

from harness.config.model import Name, Positive
from harness.law.stages.control import Arrays, Control
from harness.law.stages.kind import Parameter, StageKind, Term


class PregainBit(StageKind):
    """The gain with the bit set; with the bit clear it is 1."""

    kind: ClassVar[str] = "pregain-bit"

    control: Name
    ratio: Positive
    """Gain with the bit set over gain with the bit clear."""

    def needs(self) -> tuple[Control, ...]:
        """The bit; see StageKind.needs."""
        return (Control(name=self.control, values=(0, 1), bits=1),)

    def gains_ratio(self, arrays: Arrays) -> Term:
        """1 or the ratio; see StageKind.gains_ratio."""
        return np.asarray([1.0, self.ratio])[arrays[self.control]]

    def parameters(self) -> tuple[Parameter, ...]:
        """The ratio."""
        return (Parameter(name="ratio", nominal=self.ratio, fitted=self.control),)

    def sensitivities(self, arrays: Arrays, changes: Mapping[str, float]) -> dict[str, Term]:
        """1 with the bit set, else 0."""
        return {"ratio": arrays[self.control].astype(np.float64)}
