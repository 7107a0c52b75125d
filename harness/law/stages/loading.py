"""loading: the voltage lost where one stage drives the next."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from harness.config.model import NotNegative, Positive
from harness.law.stages.control import Arrays
from harness.law.stages.kind import Parameter, StageKind, Term


class Loading(StageKind):
    """An output resistance that drives a load resistance."""

    kind: ClassVar[str] = "loading"

    source_ohm: NotNegative
    """Output resistance of the stage in front, Ω."""
    load_ohm: Positive
    """What it drives, Ω."""

    def gains_ratio(self, arrays: Arrays) -> Term:
        """load/(load + source), whatever the controls; see StageKind.gains_ratio."""
        return self.load_ohm / (self.load_ohm + self.source_ohm)

    def parameters(self) -> tuple[Parameter, ...]:
        """Both resistances."""
        return (
            Parameter(name="source_ohm", nominal=self.source_ohm),
            Parameter(name="load_ohm", nominal=self.load_ohm),
        )

    def sensitivities(self, arrays: Arrays, changes: Mapping[str, float]) -> dict[str, Term]:
        """Minus and plus the share of the source in both resistances."""
        share = self.source_ohm / (self.load_ohm + self.source_ohm)
        return {"source_ohm": -share, "load_ohm": share}
