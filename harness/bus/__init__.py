"""Captures of the three-wire control bus to latched words."""

from harness.bus.decode import decode
from harness.bus.dump import read_vcd
from harness.bus.wiring import BusDevice, BusWiring

__all__ = ["BusDevice", "BusWiring", "decode", "read_vcd"]
