"""Contracts of the bench: what a link, a source, a device, an adapter and a clock promise, and the interlock."""

from harness.bench.contracts import Adapter, Clock, Decider, Device, Heartbeat, Link, Recorder, Source, WordDecoder
from harness.bench.interlock import Interlock

__all__ = [
    "Adapter",
    "Clock",
    "Decider",
    "Device",
    "Heartbeat",
    "Interlock",
    "Link",
    "Recorder",
    "Source",
    "WordDecoder",
]
