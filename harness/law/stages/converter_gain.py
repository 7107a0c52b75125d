"""converter-gain: gain inside the converter itself, such as a programmable reference or input amplifier on its chip."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from harness.config.model import Name, Positive
from harness.law.stages.positions import PositionStage


class ConverterGain(PositionStage):
    """A gain by position; stages in front of the converter cannot stand behind it."""

    kind: ClassVar[str] = "converter-gain"
    domain: ClassVar = "converter"

    gains: dict[Name, Positive]
    """Gain by position, V/V: codes_per_v is that of gain 1."""

    def table(self) -> Mapping[str, float]:
        """The gains."""
        return self.gains
