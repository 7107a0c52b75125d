"""relay-attenuator: a divider switched by relays, one ratio per position."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from harness.config.model import Name, Positive
from harness.law.stages.control import Controls, array_of
from harness.law.stages.kind import Flaw
from harness.law.stages.positions import PositionStage


class RelayAttenuator(PositionStage):
    """The gain of each position, and the relays energised in it."""

    kind: ClassVar[str] = "relay-attenuator"

    ratios: dict[Name, Positive]
    """Gain by position, V/V, such as "1:10" = 0.1."""
    relays: dict[Name, tuple[Name, ...]] | None = None
    """Relays energised by position; left out where the coils are not known."""

    def table(self) -> Mapping[str, float]:
        """The ratios."""
        return self.ratios

    def table_key(self) -> str:
        """The key that holds them."""
        return "ratios"

    def flaws(self) -> tuple[Flaw, ...]:
        """Relays of other positions too; see StageKind.flaws."""
        if self.ratios and self.relays and set(self.relays) != set(self.ratios):
            allowed = f"exactly the positions of ratios: {', '.join(self.ratios)}"
            return (Flaw("relays", ", ".join(self.relays), allowed),)
        return super().flaws()

    def coils(self) -> frozenset[str]:
        """All relays of the table; see StageKind.coils."""
        return frozenset(name for names in (self.relays or {}).values() for name in names)

    def energised(self, controls: Controls) -> frozenset[str]:
        """The relays of the position; see StageKind.energised."""
        (control,) = self.needs()
        index = int(array_of(control, controls))
        position = list(self.ratios)[index] if index >= 0 else ""
        return frozenset((self.relays or {}).get(position, ()))

    def position_of_relays(self, energised: frozenset[str]) -> dict[str, str]:
        """The position with exactly these of its relays; see StageKind.position_of_relays."""
        mine = energised & self.coils()
        for position, names in (self.relays or {}).items():
            if frozenset(names) == mine:
                return {self.control: position}
        return {}
