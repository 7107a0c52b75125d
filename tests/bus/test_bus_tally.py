"""Distances over many captures: the sum of what each shows, none of them kept."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from harness.bus import BusDevice, BusTally, BusWiring, TimingLimits, decode, measure_timing
from harness.errors import CaptureError
from harness.values import Capture

WIRING = BusWiring(
    lines=("data", "clock", "latch"), data="data", clock="clock", clock_rising=True, latch_rising=True,
    minimum_pulse_ns=15.0, devices=(BusDevice(latch="latch", bits=4),),
)  # fmt: skip
LIMITS = TimingLimits(setup_ns=50.0, hold_ns=50.0, latch_ns=30.0, clock_hz=2e6)
DATA, CLOCK, LATCH = 1, 2, 4


def capture_of(word, *, setup_ns, hold_ns, period_ns=1000, initial=0):
    """One frame by hand: data set_up before the rise, taken back to low `hold_ns` after it."""
    edges, now = [], 1000
    for bit in f"{word:04b}":
        if bit == "1":
            edges += [(now - setup_ns, DATA, 1), (now + hold_ns, DATA, 0)]
        edges += [(now, CLOCK, 1), (now + period_ns // 2, CLOCK, 0)]
        now += period_ns
    edges += [(now, LATCH, 1), (now + 100, LATCH, 0)]
    times, levels, level = [], [], initial
    for time, line, high in sorted(edges):
        level = level | line if high else level & ~line
        times.append(time)
        levels.append(level)
    return Capture(
        times_ns=np.array(times, dtype=np.int64), levels=np.array(levels, dtype=np.uint8), initial=initial,
        lines=WIRING.lines,
    )  # fmt: skip


def test_the_tally_is_the_sum_of_its_captures():
    captures = {
        "first": capture_of(0b1010, setup_ns=200, hold_ns=120),
        "second": capture_of(0b1111, setup_ns=40, hold_ns=90),
        "third": capture_of(0b0110, setup_ns=150, hold_ns=60, period_ns=400),
    }
    tally = BusTally(WIRING, LIMITS)
    for number, capture in enumerate(captures.values(), start=1):
        assert tally.decode(capture, number=number) == decode(capture, WIRING)
    record = tally.record(3)
    single = [measure_timing(capture, WIRING, LIMITS) for capture in captures.values()]
    assert (record.channel, record.captures, record.timing.sound_words) == (3, 3, 3)
    for distance in record.timing.distances:
        parts = [timing.distance(distance.name) for timing in single]
        assert distance.count == sum(part.count for part in parts)
        assert distance.violations == sum(part.violations for part in parts)
        assert distance.minimum_ns == min((part.minimum_ns for part in parts if part.count), default=None)
        total = sum(part.count * part.mean_ns for part in parts if part.count)
        assert distance.count == 0 or distance.mean_ns == pytest.approx(total / distance.count)
        merged = {}
        for part in parts:
            for start, count in part.histogram:
                merged[start] = merged.get(start, 0) + count
        assert dict(distance.histogram) == merged
    setup, hold = record.timing.distance("setup"), record.timing.distance("hold")
    assert (setup.minimum_ns, setup.minimum_in, setup.margin_ns, setup.violations) == (40.0, 2, -10.0, 4)
    assert (hold.minimum_ns, hold.minimum_in, hold.margin_ns, hold.violations) == (60.0, 3, 10.0, 0)
    # The third clocks 2.5 MHz where 2 MHz is allowed: three periods.
    assert (record.timing.clock_hz, record.timing.clock_violations) == (2.5e6, 3)
    assert record.timing.error_bound_ratio == pytest.approx(1.0)


def test_the_bound_falls_with_the_frames():
    tally = BusTally(WIRING)
    for _ in range(300):
        tally.decode(capture_of(0b1001, setup_ns=100, hold_ns=100), number=0)
    assert tally.record(1).timing.error_bound_ratio == pytest.approx(0.01)


def test_the_first_sound_frame_is_kept():
    tally = BusTally(WIRING)
    short = capture_of(0b1010, setup_ns=100, hold_ns=100)
    edges = short.levels.size
    # Two bits and a latch: no word of four.
    cut = dataclasses.replace(short, times_ns=short.times_ns[8:], levels=short.levels[8:], initial=int(short.levels[7]))
    assert cut.levels.size < edges
    assert tally.decode(cut, number=5).words[0].value is None
    assert tally.record(1).frame is None
    tally.decode(capture_of(0b0110, setup_ns=100, hold_ns=100), number=7)
    tally.decode(capture_of(0b0001, setup_ns=100, hold_ns=100), number=8)
    record = tally.record(1)
    assert record.word.value == 0b0110
    assert decode(record.frame, WIRING).words[0].value == 0b0110


def test_the_order_of_captures_does_not_matter():
    captures = [capture_of(word, setup_ns=100, hold_ns=100) for word in (0b1010, 0b0110, 0b1001)]
    records = []
    for order in ((0, 1, 2), (2, 0, 1), (1, 2, 0)):
        tally = BusTally(WIRING)
        for number in order:
            tally.decode(captures[number], number=number)
        records.append(tally.record(1))
    assert [record.word.value for record in records] == [0b1010] * 3
    assert all(record.timing == records[0].timing for record in records)
    assert {distance.minimum_in for distance in records[0].timing.distances if distance.count} == {0}


def test_nothing_taken_and_a_capture_that_contradicts_itself():
    tally = BusTally(WIRING)
    assert tally.record(1) is None
    good = capture_of(0b1010, setup_ns=100, hold_ns=100)
    backwards = dataclasses.replace(good, times_ns=good.times_ns[::-1].copy())
    with pytest.raises(CaptureError, match="time runs backwards"):
        tally.decode(backwards, number=1)
    assert tally.record(1) is None
