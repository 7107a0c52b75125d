"""What a capture says of the control bus as electricity: distances between edges, held against limits."""

from __future__ import annotations

from dataclasses import dataclass, field

from harness.values.capture import Capture, LatchedWord


@dataclass(frozen=True, slots=True, kw_only=True)
class BusDistance:
    """One distance between edges, over the whole capture."""

    name: str
    """setup, hold, clock-high, clock-low, clock-period, latch-width, clock-to-latch or latch-to-clock."""
    count: int
    """How often it was seen."""
    minimum_ns: float | None
    """The smallest; None when it was never seen."""
    mean_ns: float | None
    """None when it was never seen."""
    minimum_at_ns: int | None
    """When the smallest was seen in its capture: the later of its two edges."""
    limit_ns: float | None
    """The least that is allowed; None without a limit."""
    violations: int
    """How many were below the limit."""
    histogram: tuple[tuple[float, int], ...] = ()
    """Lower edge of each occupied class in ns, and how many fell into it; empty where no histogram is kept."""
    minimum_in: int | None = None
    """Number of the capture that holds the smallest; None for a single capture."""

    @property
    def margin_ns(self) -> float | None:
        """Distance of the smallest to the limit, positive when it is kept; None without a limit or a sample."""
        if self.limit_ns is None or self.minimum_ns is None:
            return None
        return self.minimum_ns - self.limit_ns


@dataclass(frozen=True, slots=True, kw_only=True)
class LineLevels:
    """Voltages of one line between its edges."""

    line: str
    high_v: float | None
    """Median while high; None when it never was."""
    low_v: float | None
    """Median while low; None when it never was."""
    least_high_v: float | None
    """The lowest voltage while high, the neighbourhood of edges left out."""
    most_low_v: float | None
    """The highest voltage while low, the neighbourhood of edges left out."""
    v_il_v: float
    """Below this a receiver surely reads low."""
    v_ih_v: float
    """Above this a receiver surely reads high."""
    automatic: bool
    """Whether the thresholds were taken from the capture itself instead of the logic family."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BusTiming:
    """All distances, glitches by line, and what bounds the share of wrong words."""

    distances: tuple[BusDistance, ...]
    clock_hz: float | None
    """Fastest clock: one over the smallest period; None with fewer than two clock edges."""
    clock_limit_hz: float | None
    clock_violations: int
    """Periods shorter than the limit allows."""
    glitches: tuple[tuple[str, int], ...]
    """Line and number of pulses shorter than the least pulse."""
    edges: tuple[tuple[str, int], ...]
    """Line and number of changes that last."""
    resolution_ns: float
    """Times are whole multiples of this."""
    sound_words: int
    error_bound_ratio: float | None
    """Upper 95 % bound on the share of wrong frames; None without a frame."""

    def distance(self, name: str) -> BusDistance:
        """The distance of a name; KeyError for another one."""
        for distance in self.distances:
            if distance.name == name:
                return distance
        raise KeyError(name)


@dataclass(frozen=True, slots=True, kw_only=True)
class BusRecord:
    """The control bus over a run, as one channel's captures show it."""

    channel: int
    captures: int
    """Captures gathered."""
    timing: BusTiming
    data: str
    """Name of the data line."""
    clock: str
    """Name of the clock line."""
    clock_rising: bool
    """Whether data counts at the rising edge."""
    frame: Capture | None = field(compare=False)
    """The events of the first sound frame; None without one."""
    word: LatchedWord | None
    """The word that it holds."""
