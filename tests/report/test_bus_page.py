"""The figure of the bus: what it says, and that it is the same each time."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.bus import BusDevice, BusWiring, TimingLimits, decode, measure_timing, read_vcd
from harness.report.bus_page import bus_svg

DATA = Path(__file__).parents[1] / "published" / "data"
WIRING = BusWiring(
    lines=("data", "clock", "latch_1", "latch_2", "latch_bias"),
    data="data",
    clock="clock",
    clock_rising=True,
    latch_rising=True,
    minimum_pulse_ns=30.0,
    devices=(BusDevice(latch="latch_1", bits=9), BusDevice(latch="latch_2", bits=9)),
)


@pytest.fixture(scope="module")
def capture():
    return read_vcd((DATA / "three-wire-example.vcd").read_text("ascii"), wiring=WIRING)


def test_frame_bits_and_margins_are_drawn(capture):
    word = decode(capture, WIRING).words[0]
    svg = bus_svg(capture, word, WIRING, measure_timing(capture, WIRING, TimingLimits(setup_ns=20.0)))
    assert "word 0x1ff, 9 bits, taken by latch_1" in svg
    assert "setup: smallest 80 ns, limit 20 ns, margin +60 ns" in svg
    assert "hold: smallest 800 ns, no limit" in svg
    assert svg.count(">1</text>") == 9
    assert svg == bus_svg(capture, word, WIRING, measure_timing(capture, WIRING, TimingLimits(setup_ns=20.0)))


def test_capture_without_a_frame_says_so():
    quiet = read_vcd((DATA / "three-wire-example.vcd").read_text("ascii").partition("#2300")[0], wiring=WIRING)
    svg = bus_svg(None, None, WIRING, measure_timing(quiet, WIRING))
    assert "no sound frame in this capture" in svg
    assert "setup: not seen" in svg
