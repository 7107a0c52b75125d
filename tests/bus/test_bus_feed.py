"""Feeds: the beginning for role finding, and feeds that hold nothing."""

from __future__ import annotations

import numpy as np
import pytest

from harness.bus import BusDevice, BusWiring, Piece, TimingLimits
from harness.bus import feed as feed_module
from harness.bus.capture_run import DecodeRun
from harness.bus.csv_pieces import CsvPieces
from harness.bus.feed import Feed, beginning
from harness.errors import CaptureError

WIRING = BusWiring(
    lines=("data", "clock", "latch"),
    data="data",
    clock="clock",
    clock_rising=True,
    latch_rising=True,
    minimum_pulse_ns=0.0,
    devices=(BusDevice(latch="latch", bits=2),),
)


class Stub(Feed):
    def __init__(self, *pieces):
        self.lines, self.initials, self.tick_ns, self.sample_ns, self.dropped = WIRING.lines, (0,), 2.5, None, 0
        self._pieces = pieces

    def pieces(self):
        for piece in self._pieces:
            yield (piece,)


def piece(*ticks, unknown=None):
    levels = np.arange(len(ticks), dtype=np.uint8) % 8
    return Piece(ticks=np.array(ticks, dtype=np.int64), levels=levels, known_to=ticks[-1], unknown=unknown)


def test_beginning_counts_time_from_its_first_event():
    capture = beginning(Stub(piece(100, 101), piece(104, unknown=np.array([1], dtype=np.uint8))))
    assert capture.times_ns.tolist() == [0, 2, 10]  # 2.5 ns a tick, rounded to even
    assert capture.unknown.tolist() == [0, 0, 1]
    assert capture.lines == WIRING.lines


def test_beginning_stops_when_it_has_enough(monkeypatch):
    monkeypatch.setattr(feed_module, "MOST_EVENTS", 3)
    assert beginning(Stub(piece(1, 2), piece(3, 4), piece(5, 6))).times_ns.size == 4


def test_feed_of_nothing_is_refused():
    with pytest.raises(CaptureError, match="capture: it holds nothing; allowed is one event or sample or more"):
        beginning(Stub())
    with pytest.raises(CaptureError, match="capture: it holds nothing; allowed is one event or sample or more"):
        DecodeRun(WIRING, TimingLimits(), lambda table: None).run(Stub())
    assert Stub().levels() == ()


def test_volts_without_thresholds_that_never_change_are_refused():
    rows = CsvPieces(WIRING.lines, "data")
    with pytest.raises(CaptureError, match="thresholds: the voltages never change"):
        rows.take(["time_s,data_v,clock_v,latch_v", "0,1,1,1", "1,1,1,1"])
    assert rows.take([]) == ()
