"""The control bus: whoever drives it, and whoever listens at the device's end."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from harness.simulated.bus_traffic import Burst, Frame, burst
from harness.simulated.parameters import BusTruth
from harness.simulated.streams import stream


class Bus:
    """Shared data and clock, a latch for each gain device."""

    def __init__(self, truth: BusTruth, *, seed: int) -> None:
        self.truth = truth
        self.levels = 0
        """Levels now, bit k is line k; all rest low."""
        self.listeners: list[Callable[[Burst], None]] = []
        self.last: Burst | None = None
        """The newest edges."""
        self._seed = seed
        self._bursts = 0
        self._free_ns = 0

    def line(self, name: str) -> int | None:
        """Number of a latch line by name; None for a name that is no latch."""
        latches = self.truth.lines[2:]
        return latches.index(name) + 2 if name in latches else None

    def drive(self, frames: Sequence[Frame], *, now_s: float) -> float:
        """Shift out frames, after those still under way; everybody who listens hears them. When it is over, s."""
        self._bursts += 1
        generator = stream(self._seed, f"bus/burst {self._bursts}")
        at_ns = max(round((now_s + self.truth.start_s) * 1e9), self._free_ns)
        edges = burst(frames, self.truth, at_ns=at_ns, before=self.levels, generator=generator)
        self.last = edges
        self.levels = int(edges.levels[-1])
        self._free_ns = int(edges.times_ns[-1]) + 1000
        for listener in self.listeners:
            listener(edges)
        return self._free_ns / 1e9
