"""mdac-attenuator, mdac-feedback: a multiplying converter as attenuator, and in the feedback of an amplifier."""

from __future__ import annotations

from typing import ClassVar

from harness.config.model import Positive
from harness.law.stages.binary_code import BinaryCodeStage


class MdacAttenuator(BinaryCodeStage):
    """Gain = code / 2**bits · feedback_ratio."""

    kind: ClassVar[str] = "mdac-attenuator"
    scale_name: ClassVar[str] = "feedback_ratio"

    feedback_ratio: Positive = 1.0
    """Feedback resistor over ladder resistance, the sign left out."""

    def scale(self) -> float:
        """Gain at code 1."""
        return self.feedback_ratio / float(2**self.bits)


class MdacFeedback(BinaryCodeStage):
    """Gain = 2**bits / code · feedback_ratio. Code 0 would open the loop: it is refused."""

    kind: ClassVar[str] = "mdac-feedback"
    power: ClassVar[int] = -1
    scale_name: ClassVar[str] = "feedback_ratio"

    feedback_ratio: Positive = 1.0
    """Ladder resistance over input resistor, the sign left out."""

    def scale(self) -> float:
        """Gain at code 1."""
        return self.feedback_ratio * float(2**self.bits)
