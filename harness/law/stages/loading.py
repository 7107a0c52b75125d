"""loading: the voltage lost where one stage drives the next."""

from __future__ import annotations

from typing import ClassVar

from harness.config.model import NotNegative, Positive
from harness.law.stages.kind import Controls, StageKind


class Loading(StageKind):
    """An output resistance that drives a load resistance."""

    kind: ClassVar[str] = "loading"

    source_ohm: NotNegative
    """Output resistance of the stage in front, Ω."""
    load_ohm: Positive
    """What it drives, Ω."""

    def gain_ratio(self, controls: Controls) -> float:
        """load/(load + source), whatever the controls; see StageKind.gain_ratio."""
        return self.load_ohm / (self.load_ohm + self.source_ohm)
