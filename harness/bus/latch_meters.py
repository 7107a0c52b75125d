"""Latches against the clock: instants, widths, distances to the clock, clocks under an active latch."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from harness.bus.piece import EARLIEST, NO_LEVELS, NO_TICKS, Ticks
from harness.bus.timing import Meter, TimingLimits
from harness.bus.wiring import BusWiring

Masks = npt.NDArray[np.uint8]


class LatchMeters:
    """What must be remembered of the latches from one stretch to the next."""

    def __init__(self, bus: BusWiring, tick_ns: float, limits: TimingLimits, *, initial: dict[str, bool]) -> None:
        least = limits.by_name()
        self.meters: dict[str, Meter] = {
            name: Meter(name, tick_ns, least[name]) for name in ("latch-width", "clock-to-latch", "latch-to-clock")
        }
        self._rising = bus.latch_rising
        self._latches = bus.latches
        self._active = {name: initial[name] == bus.latch_rising for name in bus.latches}
        self._since: dict[str, Ticks] = dict.fromkeys(bus.latches, NO_TICKS)
        """When a latch that stands active became so; none where that was before the capture."""
        self.clocks_under_latch = 0
        self._clock = self._instant = NO_TICKS
        """The last clock edge, and the last latch instant without a clock edge since: one tick or none."""

    def take(self, edges: dict[str, Ticks], clocks: Ticks, cut: int) -> tuple[Ticks, Masks, Ticks]:
        """Measure a stretch.

        Args:
            edges: for each latch all edges, ticks, increasing.
            clocks: shape (k,), active clock edges, ticks, increasing.
            cut: end of the stretch, ticks.
        Returns:
            ticks at which latches fired, shape (j,), increasing; which, bit by place in `bus.latches`; and how many of
            `clocks` come before each.
        Source:
            common practice for three-wire buses; latches at one tick are one instant.
        """
        starts, ends = [NO_TICKS], [NO_TICKS]
        fired, masks = [NO_TICKS], [NO_LEVELS]
        for k, (name, ticks) in enumerate(edges.items()):
            if ticks.size == 0 and not self._active[name]:
                continue
            begins = ticks[int(self._active[name]) :: 2]
            fired.append(begins)
            masks.append(np.full(begins.size, 1 << k, dtype=np.uint8))
            spans = self._spans(name, begins, ticks[int(not self._active[name]) :: 2], cut)
            starts.append(spans[0])
            ends.append(spans[1])
        self._count_under(np.concatenate(starts), np.concatenate(ends), clocks)
        instants, which = _merged(np.concatenate(fired), np.concatenate(masks))
        upto = clocks.searchsorted(instants)
        self._distances(instants, clocks, upto)
        return instants, which, upto

    def _spans(self, name: str, begins: Ticks, ends: Ticks, cut: int) -> tuple[Ticks, Ticks]:
        """Starts and ends of the stretches in which a latch is active; widths are measured on the way."""
        was_active, since = self._active[name], self._since[name]
        timed_starts = np.concatenate((since, begins))
        # Active from before the capture: the first end has no start, hence no width.
        timed_ends = ends[1:] if was_active and since.size == 0 else ends
        pairs = min(timed_starts.size, timed_ends.size)
        self.meters["latch-width"].add(timed_ends[:pairs] - timed_starts[:pairs], timed_ends[:pairs])
        starts = np.append(EARLIEST, begins) if was_active else begins
        self._active[name] = starts.size > ends.size
        if not self._active[name]:
            self._since[name] = NO_TICKS
            return starts, ends
        if begins.size:
            self._since[name] = begins[-1:]
        return starts, np.append(ends, cut)

    def _count_under(self, starts: Ticks, ends: Ticks, clocks: Ticks) -> None:
        """Clock edges after the start of a span, up to its end; spans may overlap."""
        if starts.size == 0 or clocks.size == 0:
            return
        order = starts.argsort()
        reached = np.maximum.accumulate(ends[order])
        begins = np.maximum(starts[order], np.append(EARLIEST, reached[:-1]))
        first = clocks.searchsorted(begins, side="right")
        hit = clocks[np.minimum(first, clocks.size - 1)] <= reached
        hit &= first < clocks.size
        if hit.any():
            self.clocks_under_latch += int((clocks.searchsorted(reached[hit], side="right") - first[hit]).sum())

    def _distances(self, instants: Ticks, clocks: Ticks, upto: Ticks) -> None:
        past = np.concatenate((self._clock, clocks))
        before = upto + self._clock.size
        fresh = np.diff(before, prepend=0) > 0
        if instants.size:
            fresh[0] = (before[0] > 0 and self._instant.size == 0) or before[0] > self._clock.size
        self.meters["clock-to-latch"].add(instants[fresh] - past[before[fresh] - 1], instants[fresh])
        waiting = np.concatenate((self._instant, instants))
        after = np.append(0, upto) if self._instant.size else upto
        last = np.append(after[1:] != after[:-1], True) if waiting.size else np.zeros(0, dtype=np.bool_)
        followed = last & (after < clocks.size)
        self.meters["latch-to-clock"].add(clocks[after[followed]] - waiting[followed], clocks[after[followed]])
        if waiting.size:
            self._instant = waiting[-1:] if after[-1] == clocks.size else NO_TICKS
        if clocks.size:
            self._clock = clocks[-1:]

    def close(self) -> None:
        """Nothing follows: a latch that stands active has no width.

        Source:
            none: bookkeeping.
        """
        self._since = dict.fromkeys(self._latches, NO_TICKS)



def _merged(ticks: Ticks, masks: Masks) -> tuple[Ticks, Masks]:
    """Instants in order of time, equal ones as one."""
    if ticks.size == 0:
        return ticks, masks
    order = ticks.argsort(kind="stable")
    ticks, masks = ticks[order], masks[order]
    new = np.append(True, ticks[1:] != ticks[:-1]).nonzero()[0]
    return ticks[new], np.bitwise_or.reduceat(masks, new)
