"""Clock and data against each other: setup, hold, clock high, low and period, over the borders of pieces."""

from __future__ import annotations

import numpy as np

from harness.bus.piece import NO_TICKS, Ticks
from harness.bus.timing import Meter, TimingLimits

ZERO = np.zeros(1, dtype=np.int64)


class ClockMeters:
    """What must be remembered of clock and data from one stretch to the next."""

    def __init__(self, tick_ns: float, limits: TimingLimits) -> None:
        least = limits.by_name()
        kept = ("setup", "hold")
        self.meters: dict[str, Meter] = {
            name: Meter(name, tick_ns, least[name], name in kept)
            for name in ("setup", "hold", "clock-high", "clock-low", "clock-period")
        }
        self.data_edges = 0
        self.sampled_data_edges = 0
        """Data edges that were the last before an active clock edge."""
        self._edge = self._active = self._waiting = NO_TICKS
        """The last clock edge, the last active one, and a data edge after it: one tick or none."""

    def take(self, edges: Ticks, clocks: Ticks, data: Ticks, following: Ticks, *, first_high: bool) -> None:
        """Measure a stretch.

        Args:
            edges: shape (k,), all clock edges, ticks, increasing.
            clocks: shape (j,), the active ones among them.
            data: shape (i,), all data edges, ticks, increasing.
            following: shape (i,), how many of `clocks` come before or with each data edge.
            first_high: level of the clock before the first edge.
        Source:
            common practice for three-wire buses: setup from the last data edge before an active clock edge, hold from
            that edge to the next data edge; a data edge at the very tick of the clock edge has neither.
        """
        if edges.size:
            if self._edge.size:
                edges = np.concatenate((self._edge, edges))
                first_high = not first_high
            lasted = edges[1:] - edges[:-1]
            for name, start in (("clock-low", int(not first_high)), ("clock-high", int(first_high))):
                self.meters[name].add(lasted[start::2], edges[1 + start :: 2])
            self._edge = edges[-1:]
        self.data_edges += data.size
        self._setup_and_hold(clocks, data, following)
        if clocks.size:
            timed = np.concatenate((self._active, clocks)) if self._active.size else clocks
            self.meters["clock-period"].add(timed[1:] - timed[:-1], timed[1:])
            self._active = clocks[-1:]

    def _setup_and_hold(self, clocks: Ticks, data: Ticks, following: Ticks) -> None:
        waiting = self._waiting.size
        if waiting:
            data, following = np.concatenate((self._waiting, data)), np.append(0, following)
        if data.size == 0:
            return
        turns = following[1:] != following[:-1]
        ends = np.append(turns, True)
        ends &= following < clocks.size
        later = clocks[following[ends]]
        self.meters["setup"].add(later - data[ends], later)
        self.sampled_data_edges += later.size
        starts = np.append(waiting == 0, turns)
        past = np.concatenate((self._active, clocks))
        before = following + (self._active.size - 1)
        starts &= before >= 0
        first = data[starts]
        held = first - past[before[starts]]
        self.meters["hold"].add(held, first)
        if (at_once := first[held == 0]).size:
            self.meters["setup"].add(np.zeros_like(at_once), at_once)
        self._waiting = data[-1:] if following[-1] == clocks.size else NO_TICKS
