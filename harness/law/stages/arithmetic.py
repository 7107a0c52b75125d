"""arithmetic: codes multiplied after the converter; nothing analog changes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from harness.config.model import Name, Positive
from harness.law.stages.kind import Parameter
from harness.law.stages.positions import PositionStage


class Arithmetic(PositionStage):
    """An exact factor by position: it is no hardware gain and has no tolerance."""

    kind: ClassVar[str] = "arithmetic"
    domain: ClassVar = "arithmetic"

    ratios: dict[Name, Positive]
    """Factor by position."""

    def table(self) -> Mapping[str, float]:
        """The factors."""
        return self.ratios

    def table_key(self) -> str:
        """The key that holds them."""
        return "ratios"

    def parameters(self) -> tuple[Parameter, ...]:
        """None: arithmetic is exact."""
        return ()
