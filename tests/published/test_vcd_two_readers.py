"""The three-wire dumps through two independent VCD libraries: the same changes, the same words."""

from __future__ import annotations

import signal
from pathlib import Path

import numpy as np
import pytest

from harness.bus import BusDevice, BusWiring, decode, read_vcd

# Importing it makes SIGPIPE deadly for the process: a peer that hangs up would end the test run without a word.
_pipe = signal.getsignal(signal.SIGPIPE)
vcdvcd = pytest.importorskip("vcdvcd", reason="the second VCD library comes with the [test] extra")
signal.signal(signal.SIGPIPE, _pipe)

# Source: captures and words made for this project, after IEEE Std 1364-2005 clause 18; heads of the files.
DATA = Path(__file__).parent / "data"
LINES = ("data", "clock", "latch_1", "latch_2", "latch_bias")
WIRING = BusWiring(
    lines=LINES,
    data="data",
    clock="clock",
    clock_rising=True,
    latch_rising=True,
    minimum_pulse_ns=30.0,
    devices=(
        BusDevice(latch="latch_1", bits=9),
        BusDevice(latch="latch_2", bits=9),
        BusDevice(latch="latch_bias", bits=12),
    ),
)


def changes_by_the_other(path):
    dump = vcdvcd.VCDVCD(str(path))
    assert int(dump.timescale["magnitude"]) == 1
    assert dump.timescale["unit"] == "ns"
    return {line: dump[f"bus.{line}"].tv for line in LINES}


@pytest.mark.parametrize("name", ["example", "faults"])
def test_changes_are_the_same(name):
    path = DATA / f"three-wire-{name}.vcd"
    capture = read_vcd(path.read_text("ascii"), wiring=WIRING)
    unknown = np.zeros_like(capture.levels) if capture.unknown is None else capture.unknown
    for k, line in enumerate(LINES):
        states = ["x" if x else str(level) for x, level in zip(unknown >> k & 1, capture.levels >> k & 1, strict=True)]
        rows = list(zip(capture.times_ns.tolist(), states, strict=True))
        ours = [row for row, before in zip(rows, [(0, ""), *rows], strict=False) if row[1] != before[1]]
        theirs = changes_by_the_other(path)[line]
        theirs = [row for row, before in zip(theirs, [(0, ""), *theirs], strict=False) if row[1] != before[1]]
        assert ours == [(int(time), state) for time, state in theirs]


def words_by_the_other(path):
    """A decoder of its own, edge by edge, for dumps without glitches and unknown levels."""
    events = {}
    for line, changes in changes_by_the_other(path).items():
        for time, state in changes:
            events.setdefault(int(time), {})[line] = int(state)
    level, bits, count, words = dict.fromkeys(LINES, 0), "", 0, []
    for time in sorted(events):
        before, level = level, level | events[time]
        if level["clock"] > before["clock"]:
            bits, count = bits + str(before["data"]), count + 1
        for latch, width in (("latch_1", 9), ("latch_2", 9), ("latch_bias", 12)):
            if level[latch] > before[latch]:
                words.append((time, latch, int(bits[-width:], 2), count))
                count = 0
    return words, count


def test_words_of_the_example_are_the_same():
    path = DATA / "three-wire-example.vcd"
    decoding = decode(read_vcd(path.read_text("ascii"), wiring=WIRING), WIRING)
    ours = [(word.time_ns, word.latches[0], word.value, word.clocks_since) for word in decoding.words]
    assert (ours, decoding.unlatched_bits) == words_by_the_other(path)


def test_smallest_setup_of_the_example_is_80_ns():
    from harness.bus import measure_timing

    timing = measure_timing(read_vcd((DATA / "three-wire-example.vcd").read_text("ascii"), wiring=WIRING), WIRING)
    assert timing.distance("setup").minimum_ns == 80.0
    assert timing.clock_hz == 1e6
