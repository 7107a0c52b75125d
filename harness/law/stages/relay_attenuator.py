"""relay-attenuator: a divider switched by relays, one ratio per position."""

from __future__ import annotations

from typing import ClassVar

from harness.config.model import Name, Positive
from harness.law.stages.kind import Control, Controls, Flaw, StageKind, position_of


class RelayAttenuator(StageKind):
    """The gain of each position, and the relays energised in it."""

    kind: ClassVar[str] = "relay-attenuator"

    control: Name
    ratios: dict[Name, Positive]
    """Gain by position, V/V, such as "1:10" = 0.1."""
    relays: dict[Name, tuple[Name, ...]] | None = None
    """Relays energised by position; left out where the coils are not known."""

    def flaws(self) -> tuple[Flaw, ...]:
        """No position at all, or relays of other positions; see StageKind.flaws."""
        if not self.ratios:
            return (Flaw("ratios", "no position", "a gain for each position"),)
        if self.relays and set(self.relays) != set(self.ratios):
            allowed = f"exactly the positions of ratios: {', '.join(self.ratios)}"
            return (Flaw("relays", ", ".join(self.relays), allowed),)
        return ()

    def needs(self) -> tuple[Control, ...]:
        """The position; see StageKind.needs."""
        return (Control(name=self.control, values=tuple(self.ratios)),)

    def gain_ratio(self, controls: Controls) -> float:
        """The ratio of the position; see StageKind.gain_ratio."""
        return self.ratios[position_of(controls, self.control, tuple(self.ratios))]

    def energised(self, controls: Controls) -> frozenset[str]:
        """The relays of the position; see StageKind.energised."""
        return frozenset((self.relays or {}).get(position_of(controls, self.control, tuple(self.ratios)), ()))
