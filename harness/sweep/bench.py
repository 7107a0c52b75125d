"""The instruments of a bench, together; what they are (real or simulated) is not known here."""

from __future__ import annotations

from dataclasses import dataclass, field

from harness.bench import Adapter, Clock, Device, Heartbeat, Meter, Source, Surroundings
from harness.bench.contracts import Instrument


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """One source, one device, perhaps an adapter, a reference meter, a source of another channel, and the time."""

    source: Source
    device: Device
    adapter: Adapter | None
    clock: Clock
    surroundings: Surroundings = field(default_factory=Surroundings)
    heartbeat: Heartbeat | None = None
    """Told that the sweep is alive while the source may be on; None where nobody watches."""
    meter: Meter | None = None
    aggressor: Source | None = None
    """Drives a channel of its own, which the first source does not reach."""

    @property
    def instruments(self) -> tuple[tuple[str, Instrument], ...]:
        """Those that are there, by role."""
        every: tuple[tuple[str, Instrument | None], ...] = (
            ("source", self.source),
            ("device", self.device),
            ("adapter", self.adapter),
            ("meter", self.meter),
            ("aggressor", self.aggressor),
            ("chamber", self.surroundings.chamber),
            ("supply", self.surroundings.supply),
            ("probe", self.surroundings.probe),
        )
        return tuple((role, instrument) for role, instrument in every if instrument is not None)
