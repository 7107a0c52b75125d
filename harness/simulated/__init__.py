"""A simulated bench: instruments that answer bytes, in memory or on the wire, with their own truth and faults."""

from harness.simulated.build import build_world
from harness.simulated.clock import JumpClock
from harness.simulated.fault_entry import FaultEntry
from harness.simulated.faults import catalogue
from harness.simulated.faults.sizes import SIZES, Sizes
from harness.simulated.link import MemoryLink
from harness.simulated.server import serve
from harness.simulated.world import World

__all__ = [
    "SIZES",
    "FaultEntry",
    "JumpClock",
    "MemoryLink",
    "Sizes",
    "World",
    "build_world",
    "catalogue",
    "serve",
]
