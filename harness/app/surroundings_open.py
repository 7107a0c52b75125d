"""From links to the instruments that surround a unit, as far as a bench has them."""

from __future__ import annotations

from collections.abc import Mapping

from harness.bench import Clock, Link, Surroundings
from harness.config import InstrumentFile, InstrumentSlot
from harness.drivers import ChamberDriver, ProbeDriver, SupplyDriver


def surroundings_on(
    links: Mapping[str, Link], profiles: Mapping[str, InstrumentFile], slots: Mapping[str, InstrumentSlot], clock: Clock
) -> Surroundings:
    """The drivers of chamber, supply and probe, by role."""

    def has(role: str) -> bool:
        return role in links

    def parts(role: str) -> tuple[Link, InstrumentFile, InstrumentSlot, Clock]:
        return links[role], profiles[role], slots[role], clock

    return Surroundings(
        chamber=ChamberDriver(*parts("chamber")) if has("chamber") else None,
        supply=SupplyDriver(*parts("supply")) if has("supply") else None,
        probe=ProbeDriver(*parts("probe")) if has("probe") else None,
    )
