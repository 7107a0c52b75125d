"""A simulated bench: instruments that answer bytes, in memory or on the wire, with their own truth and faults."""

from harness.simulated.build import build_world
from harness.simulated.clock import JumpClock
from harness.simulated.fault import FaultEntry
from harness.simulated.faults import catalogue
from harness.simulated.link import MemoryLink
from harness.simulated.server import serve
from harness.simulated.world import World

__all__ = ["FaultEntry", "JumpClock", "MemoryLink", "World", "build_world", "catalogue", "serve"]
