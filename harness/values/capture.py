"""What the adapter saw on the control bus: line levels at each edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Capture:
    """An edge list: after event i, at times_ns[i], the lines stand at levels[i]; arrays are made read-only."""

    times_ns: npt.NDArray[np.int64]
    """Shape (n,), nanoseconds since the arming, never decreasing."""
    levels: npt.NDArray[np.uint8]
    """Shape (n,), bit k is the level of line k of `lines`."""
    initial: int
    """Levels before the first event, same bits."""
    lines: tuple[str, ...]
    """Line names by bit, such as ("data", "clock", "latch-1", ...)."""
    dropped: int = 0
    """Events the adapter could not keep; above zero the capture is incomplete."""
    unknown: npt.NDArray[np.uint8] | None = None
    """Shape (n,), bit k set where the level of line k is not known after the event; None when all are known."""

    def __post_init__(self) -> None:
        self.times_ns.setflags(write=False)
        self.levels.setflags(write=False)
        if self.unknown is not None:
            self.unknown.setflags(write=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class LatchedWord:
    """A word taken by one gain device, or a latch that took none."""

    time_ns: int
    """Time of the active latch edge."""
    latches: tuple[str, ...]
    """Latch lines that fired together; more than one is a broadcast."""
    bits: int
    """Word length of the device."""
    value: int | None
    """The word; None where it is not known (short frame, unknown history)."""
    clocks_since: int
    """Active clock edges since the previous latch of any device."""
    note: str = ""
    """Empty for a sound frame; else short-frame, long-frame, re-latch, broadcast, unknown-level, unknown-history."""
    position: int = 0
    """Place in a daisy chain that shares the latch, 0 next to the sender; always 0 with a latch of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoding:
    """All that a capture says."""

    words: tuple[LatchedWord, ...]
    """In order of time."""
    unlatched_bits: int
    """Clock edges after the last latch."""
    clock_edges: int
    """Active clock edges in all."""
    idle_data_edges: int
    """Data edges that no clock edge sampled: between clocks they do not count, but they are reported."""
    complete: bool
    """False when the adapter dropped events."""
    glitches: int = 0
    """Pulses shorter than the least pulse, on any line: ignored, but counted."""
    clocks_under_latch: int = 0
    """Active clock edges while a latch was active: an error where the latch is transparent."""
    rewrites: int = 0
    """Words equal to the one that the same device had taken before: allowed, but counted."""

    def last(self, latch: str, position: int = 0) -> LatchedWord | None:
        """The word that a gain device holds after the capture; None when it took none."""
        for word in reversed(self.words):
            if latch in word.latches and word.position == position:
                return word
        return None
