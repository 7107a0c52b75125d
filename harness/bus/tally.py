"""Many captures of one bus: each is decoded, its distances are added up, none of them is kept."""

from __future__ import annotations

import dataclasses

import numpy as np

from harness.bus.decode import stream_of, whole
from harness.bus.stream import NO_LIMITS
from harness.bus.timing import Meter, TimingLimits, timing_of
from harness.bus.wiring import BusWiring
from harness.values import BusRecord, Capture, Decoding, LatchedWord

LEAD = 3
"""Events shown before the first clock edge of a frame."""


class BusTally:
    """Distances over the captures of one channel; bounded, however many come."""

    def __init__(self, bus: BusWiring, limits: TimingLimits = NO_LIMITS) -> None:
        """Begin with none.

        Args:
            bus: which line is what.
            limits: least distances, ns, and fastest clock, Hz.
        """
        self._bus, self._limits = bus, limits
        self._meters: dict[str, Meter] = {}
        self._least_at: dict[str, int] = {}
        self._glitches = dict.fromkeys(bus.roles, 0)
        self._edges = dict.fromkeys(bus.roles, 0)
        self._sound = self._unsound = 0
        self._frame: tuple[int, Capture, LatchedWord] | None = None
        self.captures = 0

    @property
    def wiring(self) -> BusWiring:
        """Which line is what."""
        return self._bus

    def decode(self, capture: Capture, *, number: int) -> Decoding:
        """The words of a further capture; its distances are added.

        Args:
            capture: edge list; only data may be unknown.
            number: names it; of equal distances and of sound frames that of the lowest number is told.
        Returns:
            as `decode`.
        Raises:
            CaptureError: as `decode`; nothing is added then.
        Source:
            see `decode` and `measure_timing`.
        """
        stream = stream_of(capture, self._bus, self._limits)
        words = tuple(stream.only(whole(capture)).words())
        self.captures += 1
        self._sound += stream.frames.sound
        self._unsound += stream.frames.unsound
        for name, meter in stream.meters.items():
            if name not in self._meters:
                self._meters[name] = Meter(name, meter.tick_ns, meter.limit_ns, meter.keeps_histogram)
            tied = meter.count > 0 and meter.smallest == self._meters[name].smallest
            if self._meters[name].merge(meter) or (tied and number < self._least_at[name]):
                self._least_at[name] = number
                self._meters[name].smallest_at = meter.smallest_at
        for total, more in ((self._glitches, stream.glitches), (self._edges, stream.edges)):
            for name, count in more.items():
                total[name] += count
        if (self._frame is None or number < self._frame[0]) and (found := _first_frame(capture, self._bus, words)):
            self._frame = (number, *found)
        return stream.decoding(words, complete=capture.dropped == 0)

    def record(self, channel: int) -> BusRecord | None:
        """All distances so far.

        Args:
            channel: whose captures they were.
        Returns:
            the record; None without a capture.
        Source:
            see `measure_timing`.
        """
        if not self.captures:
            return None
        distances = tuple(
            dataclasses.replace(meter.result(), minimum_in=self._least_at.get(name))
            for name, meter in self._meters.items()
        )
        _, frame, word = self._frame or (0, None, None)
        return BusRecord(
            channel=channel,
            captures=self.captures,
            timing=timing_of(
                distances, glitches=self._glitches, edges=self._edges, tick_ns=1.0,
                sound=self._sound, unsound=self._unsound,
            ),
            data=self._bus.data,
            clock=self._bus.clock,
            clock_rising=self._bus.clock_rising,
            frame=frame,
            word=word,
        )  # fmt: skip


def _first_frame(
    capture: Capture, bus: BusWiring, words: tuple[LatchedWord, ...]
) -> tuple[Capture, LatchedWord] | None:
    """The events of the first sound frame, with its word."""
    word = next((word for word in words if word.value is not None and not word.note), None)
    if word is None:
        return None
    levels = capture.levels
    before = np.concatenate((np.array([capture.initial], dtype=np.uint8), levels[:-1]))
    bit = np.uint8(1 << capture.lines.index(bus.clock))
    active = bit if bus.clock_rising else np.uint8(0)
    edges = np.flatnonzero(((levels ^ before) & bit != 0) & (levels & bit == active))
    mine = edges[capture.times_ns[edges] < word.time_ns][-word.clocks_since :]
    start = max(int(mine[0]) - LEAD, 0)
    end = min(int(capture.times_ns.searchsorted(word.time_ns, side="right")) + 1, levels.size)
    shown = Capture(
        times_ns=capture.times_ns[start:end].copy(),
        levels=levels[start:end].copy(),
        initial=int(before[start]),
        lines=capture.lines,
    )
    return shown, word
