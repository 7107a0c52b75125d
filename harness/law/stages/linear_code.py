"""linear-code: a gain proportional to a code."""

from __future__ import annotations

from typing import ClassVar

from harness.config.model import Positive
from harness.law.stages.binary_code import BinaryCodeStage


class LinearCode(BinaryCodeStage):
    """Gain = code · gain_per_code."""

    kind: ClassVar[str] = "linear-code"
    scale_name: ClassVar[str] = "gain_per_code"

    gain_per_code: Positive
    """V/V."""

    def scale(self) -> float:
        """Gain per code."""
        return self.gain_per_code
