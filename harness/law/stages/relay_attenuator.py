"""relay-attenuator: a divider switched by relays, one ratio per position."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field, model_validator

from harness.config.model import Name, Positive
from harness.law.stages.kind import Control, Controls, StageKind, position_of


class RelayAttenuator(StageKind):
    """The gain of each position, and the relays energised in it."""

    kind: ClassVar[str] = "relay-attenuator"

    control: Name
    ratios: dict[Name, Positive] = Field(min_length=1)
    """Gain by position, V/V, such as "1:10" = 0.1."""
    relays: dict[Name, tuple[Name, ...]] = Field(default_factory=dict)
    """Relays energised by position; left out where the coils are not known."""

    @model_validator(mode="after")
    def _same_positions(self) -> RelayAttenuator:
        if self.relays and set(self.relays) != set(self.ratios):
            raise ValueError(f"relays for exactly the positions of ratios: {', '.join(self.ratios)}")
        return self

    def needs(self) -> tuple[Control, ...]:
        """The position; see StageKind.needs."""
        return (Control(name=self.control, values=tuple(self.ratios)),)

    def gain_ratio(self, controls: Controls) -> float:
        """The ratio of the position; see StageKind.gain_ratio."""
        return self.ratios[position_of(controls, self.control, tuple(self.ratios))]

    def energised(self, controls: Controls) -> frozenset[str]:
        """The relays of the position; see StageKind.energised."""
        return frozenset(self.relays.get(position_of(controls, self.control, tuple(self.ratios)), ()))
