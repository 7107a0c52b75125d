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

__all__ = [
    "Adapter",
    "Clock",
    "Decider",
    "Device",
    "Heartbeat",
    "Interlock",
    "Link",
    "Meter",
    "Recorder",
    "Source",
    "WordDecoder",
]
