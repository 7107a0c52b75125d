"""The [bus] table of a file, as the decoder wants it."""

from __future__ import annotations

from harness.bus import BusDevice, BusWiring
from harness.config.bus_section import Bus


def wiring_of(bus: Bus) -> BusWiring:
    """The [bus] table, for the decoder."""
    return BusWiring(
        lines=bus.lines,
        data=bus.data,
        clock=bus.clock,
        clock_rising=bus.active_clock_edge == "rising",
        latch_rising=bus.active_latch_edge == "rising",
        minimum_pulse_ns=bus.minimum_pulse_ns,
        devices=tuple(BusDevice(latch=member.latch, bits=member.bits) for member in bus.on_bus),
        broadcast_allowed=bus.broadcast,
    )
