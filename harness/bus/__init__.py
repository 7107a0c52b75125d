"""Captures of the three-wire control bus to latched words, distances between edges, and line roles."""

from harness.bus.decode import decode, measure_timing
from harness.bus.dump import read_vcd
from harness.bus.packed import PackedReader
from harness.bus.piece import Piece
from harness.bus.roles import Found, LabelledCapture, Roles, find_roles
from harness.bus.stream import BusStream
from harness.bus.tally import BusTally
from harness.bus.thresholds import Thresholds, family_thresholds
from harness.bus.timing import TimingLimits, error_bound_ratio
from harness.bus.wiring import BusDevice, BusWiring
from harness.bus.word_table import WordTable

__all__ = [
    "BusDevice",
    "BusStream",
    "BusTally",
    "BusWiring",
    "Found",
    "LabelledCapture",
    "PackedReader",
    "Piece",
    "Roles",
    "Thresholds",
    "TimingLimits",
    "WordTable",
    "decode",
    "error_bound_ratio",
    "family_thresholds",
    "find_roles",
    "measure_timing",
    "read_vcd",
]
