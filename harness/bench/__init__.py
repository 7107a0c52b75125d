"""Contracts of the bench: what link, source, device, adapter, meter and clock promise, and the interlock."""

from harness.bench.contracts import (
    Adapter,
    Clock,
    Decider,
    Device,
    Heartbeat,
    Link,
    Meanwhile,
    Meter,
    Recorder,
    Source,
    WordDecoder,
    idle,
)
from harness.bench.interlock import Interlock
from harness.bench.surroundings import Chamber, Probe, Supply, Surroundings

__all__ = [
    "Adapter",
    "Chamber",
    "Clock",
    "Decider",
    "Device",
    "Heartbeat",
    "Interlock",
    "Link",
    "Meanwhile",
    "Meter",
    "Probe",
    "Recorder",
    "Source",
    "Supply",
    "Surroundings",
    "WordDecoder",
    "idle",
]
