"""The instruments of a bench, together; what they are (real or simulated) is not known here."""

from __future__ import annotations

from dataclasses import dataclass

from harness.bench import Adapter, Clock, Device, Heartbeat, Source


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """One source, one device, perhaps an adapter, and the time."""

    source: Source
    device: Device
    adapter: Adapter | None
    clock: Clock
    heartbeat: Heartbeat | None = None
    """Told that the sweep is alive while the source may be on; None where nobody watches."""
