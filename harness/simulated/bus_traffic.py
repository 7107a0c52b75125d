"""Words to edges on the control bus: frames, idle traffic, glitches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.simulated.parameters import BusTruth

DATA, CLOCK = 0, 1
"""Line numbers; the others are latches."""
EXTRA_EDGE_NS = 45
"""Width of a clock pulse too many: a reflection, just long enough for a receiver."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A word for one gain device."""

    line: int
    """Line number of its latch."""
    bits: int
    value: int
    latched: bool = True
    """False when the latch edge gets lost."""
    latch_first: bool = False
    """The latch pulse comes before the bits."""
    latch_over: int = 0
    """Clock edges, the last ones, under which the latch is active already."""
    also: tuple[int, ...] = ()
    """Further latch lines that pulse with its own."""
    clocked: bool = True
    """False when the clock edges get lost."""
    extra_edges: int = 0
    """Clock edges too many, before the latch."""
    setup_ns: int | None = None
    """Data before the clock edge, negative for behind it; None as the bus has it."""
    weak: float = 0.0
    """Chance at each bit that is 1 that the level breaks down for some tens of ns."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Burst:
    """Edges in order of time."""

    times_ns: npt.NDArray[np.int64]
    """Shape (n,), on the clock of the bench."""
    levels: npt.NDArray[np.uint8]
    """Shape (n,), levels of all lines after the edge, bit k is line k."""


class _Writer:
    """Collects edges of single lines."""

    def __init__(self, data: int) -> None:
        self.edges: list[tuple[int, int, int]] = []
        self.data = data

    def put(self, time_ns: int, line: int, level: int) -> None:
        self.edges.append((time_ns, line, level))

    def set_data(self, time_ns: int, level: int) -> None:
        if level != self.data:
            self.data = level
            self.put(time_ns, DATA, level)

    def pulse(self, time_ns: int, line: int, width_ns: int, rest: int) -> None:
        self.put(time_ns, line, 1 - rest)
        self.put(time_ns + width_ns, line, rest)


def burst(
    frames: Sequence[Frame], truth: BusTruth, *, at_ns: int, before: int, generator: np.random.Generator
) -> Burst:
    """The edges of some frames, from `at_ns` on, when the lines stood at the levels `before`.

    Data changes `setup_ns` before the rising clock edge. In between it may carry traffic for somebody else, which no
    clock edge samples, and pulses too short to be real; clock and latches are clean.
    """
    writer = _Writer(before >> DATA & 1)
    now_ns = _idle(writer, at_ns, truth.idle_edges, generator)
    for frame in frames:
        now_ns = _shift(writer, frame, truth, now_ns, generator)
    _idle(writer, now_ns, truth.idle_edges, generator)
    return _sorted(writer.edges, before)


def _shift(writer: _Writer, frame: Frame, truth: BusTruth, now_ns: int, generator: np.random.Generator) -> int:
    period_ns = round(1e9 / truth.clock_hz)
    half_ns = period_ns // 2
    setup_ns = truth.setup_ns if frame.setup_ns is None else frame.setup_ns
    if frame.latched and frame.latch_first:
        _latch(writer, frame, now_ns, truth.latch_ns)
        now_ns += truth.latch_ns + period_ns
    started_ns = now_ns
    chance = generator.random((frame.bits, 3)).tolist()
    for bit, (early, late, glitch) in zip(range(frame.bits - 1, -1, -1), chance, strict=True):
        rise_ns = now_ns + half_ns
        if early < truth.idle_ratio:
            writer.pulse(now_ns + 40, DATA, 100, writer.data)
        level = frame.value >> bit & 1
        writer.set_data(rise_ns - setup_ns, level)
        if frame.clocked:
            writer.put(rise_ns, CLOCK, 1)
        if late < truth.idle_ratio:
            writer.pulse(rise_ns + 120, DATA, 90, writer.data)
        if glitch < truth.glitch_ratio:
            writer.pulse(rise_ns + 300, DATA, 10 + round(15 * glitch / truth.glitch_ratio), writer.data)
        if frame.weak and level and generator.random() < frame.weak:
            writer.pulse(rise_ns + 20, DATA, 40, writer.data)
        if frame.clocked:
            writer.put(now_ns + 2 * half_ns, CLOCK, 0)
        now_ns += 2 * half_ns
    for extra in range(frame.extra_edges):
        writer.pulse(now_ns + 60 + 100 * extra, CLOCK, EXTRA_EDGE_NS, 0)
    if frame.latched and not frame.latch_first:
        # Without edges under it, the latch comes half a period behind the last clock pulse.
        early_ns = started_ns + 2 * half_ns * (frame.bits - frame.latch_over) + half_ns - 60
        at_ns = early_ns if frame.latch_over else now_ns + half_ns
        _latch(writer, frame, at_ns, now_ns + half_ns + truth.latch_ns - at_ns)
    return now_ns + half_ns + truth.latch_ns + period_ns


def _latch(writer: _Writer, frame: Frame, at_ns: int, width_ns: int) -> None:
    for line in (frame.line, *frame.also):
        writer.pulse(at_ns, line, width_ns, 0)


def _idle(writer: _Writer, now_ns: int, most: int, generator: np.random.Generator) -> int:
    for _ in range(int(generator.integers(most // 2, most + 1))):
        now_ns += int(generator.integers(400, 2500))
        writer.set_data(now_ns, 1 - writer.data)
    return now_ns + 1000


def _sorted(edges: list[tuple[int, int, int]], before: int) -> Burst:
    edges.sort(key=lambda edge: edge[0])
    levels, now = [], before
    for _, line, level in edges:
        now = now & ~(1 << line) | level << line
        levels.append(now)
    times_ns = np.array([edge[0] for edge in edges], dtype=np.int64)
    return Burst(times_ns=times_ns, levels=np.array(levels, dtype=np.uint8))
