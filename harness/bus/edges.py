"""From a capture to the edges of one line, glitches taken out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.errors import CaptureError
from harness.values import Capture

Times = npt.NDArray[np.int64]
Marks = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineEdges:
    """The changes of one line; between them its level alternates."""

    times_ns: Times
    """Shape (k,), strictly increasing."""
    initial: bool
    """Level before the first change."""
    glitches: int
    """Pulses taken out."""

    def high_before(self, instants_ns: Times) -> Marks:
        """Whether the line is high just before each of some instants; a change at the very instant is too late.

        Args:
            instants_ns: shape (j,), ns.
        Returns:
            shape (j,).
        Source:
            levels alternate, so the parity of the edges before an instant gives its level.
        """
        high: Marks = (self.times_ns.searchsorted(instants_ns) % 2 == 1) != self.initial
        return high

    def active(self, *, rising: bool) -> Times:
        """Times of the edges in one direction.

        Args:
            rising: True for rising edges, False for falling ones.
        Returns:
            shape (j,), ns, strictly increasing.
        Source:
            levels alternate, so every second edge has the same direction.
        """
        return self.times_ns[int(self.initial == rising) :: 2]


def check_capture(capture: Capture, names: tuple[str, ...]) -> None:
    """Whether a capture can be read at all.

    Args:
        capture: as fetched.
        names: lines that must be in it.
    Raises:
        CaptureError: no lines or more than eight, a name twice or missing, arrays of different length, time that runs
            backwards or begins before the arming.
    Source:
        the contract of Capture.
    """
    lines = capture.lines
    if not 1 <= len(lines) <= 8 or len(set(lines)) != len(lines):
        raise CaptureError(f"capture: lines {lines!r}; allowed are 1 to 8 names, each once")
    missing = [name for name in names if name not in lines]
    if missing:
        raise CaptureError(
            f"capture: no line named {', '.join(missing)} among {', '.join(lines)}; "
            "name the captured lines as the bus wiring does"
        )
    shapes = [array.shape for array in (capture.times_ns, capture.levels, capture.unknown) if array is not None]
    if len(set(shapes)) != 1 or len(shapes[0]) != 1:
        raise CaptureError(f"capture: arrays of shapes {shapes}; allowed is one length, shape (n,), for all")
    times_ns = capture.times_ns
    if times_ns.size and int(times_ns[0]) < 0:
        raise CaptureError(f"capture: first event at {times_ns[0]} ns; allowed is 0 (the arming) or later")
    backwards = np.flatnonzero(times_ns[1:] < times_ns[:-1])
    if backwards.size:
        at = int(backwards[0])
        raise CaptureError(
            f"capture: time runs backwards at event {at + 1}, from {times_ns[at]} to {times_ns[at + 1]} ns; "
            "allowed are times that never decrease: the transfer is garbled, fetch again"
        )


def line_edges(capture: Capture, names: tuple[str, ...], minimum_pulse_ns: float) -> dict[str, LineEdges]:
    """When lines change their levels for good.

    A level counts when it lasts at least `minimum_pulse_ns` and more than no time at all; the edge stands where the
    lasting level begins. The levels before the first and after the last change count, however short.

    Args:
        capture: checked.
        names: lines of it.
        minimum_pulse_ns: least pulse, ns, >= 0.
    Returns:
        for each name the times of the changes, the level before, and how many pulses were too short.
    Source:
        common practice for three-wire buses: pulses below the least pulse do not count, but are reported.
    """
    levels = capture.levels
    changed = np.empty_like(levels)
    changed[:1] = levels[:1] ^ np.uint8(capture.initial & 0xFF)
    np.bitwise_xor(levels[1:], levels[:-1], out=changed[1:])
    least_ns = max(minimum_pulse_ns, 1.0)
    edges = {}
    for name in names:
        bit = 1 << capture.lines.index(name)
        times_ns = capture.times_ns[(changed & bit).nonzero()]
        kept = times_ns
        if times_ns.size > 1:
            short = times_ns[1:] - times_ns[:-1] < least_ns
            kept = _lasting(times_ns, short) if short.any() else times_ns
        edges[name] = LineEdges(
            times_ns=kept, initial=bool(capture.initial & bit), glitches=(times_ns.size - kept.size) // 2
        )
    return edges


def _lasting(times_ns: Times, short: Marks) -> Times:
    """The edges at which a lasting level begins that differs from the lasting level before it."""
    begins = np.flatnonzero(np.append(~short, True))
    # Edge i is followed by the initial level when i is odd: of neighbours with equal parity only the first is a change.
    parity = begins % 2
    differs = np.append(1, parity[:-1]) != parity
    kept: Times = times_ns[begins[differs]]
    return kept
