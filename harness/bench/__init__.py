"""Contracts of the bench: what link, source, device, adapter, meter and clock promise, and the interlock."""

from harness.bench.contracts import (
    Adapter,
    Clock,
    Decider,
    Device,
    Heartbeat,
    Link,
    Meter,
    Recorder,
    Source,
    WordDecoder,
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
    "Meter",
    "Probe",
    "Recorder",
    "Source",
    "Supply",
    "Surroundings",
    "WordDecoder",
]
