"""From a capture to the words that the devices on the bus have taken."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.bus.edges import LineEdges, Times, check_capture, line_edges
from harness.bus.wiring import BusWiring
from harness.errors import CaptureError
from harness.values import Capture, Decoding, LatchedWord

UNKNOWN = "x"


@dataclass(frozen=True, slots=True)
class _Frame:
    """What stands in the shared shift register at one instant of latching."""

    time_ns: int
    bits: str
    """The newest bits, as many as the longest word has, oldest first, as 0, 1 and x."""
    clocks_since: int
    """Clock edges since the latch before."""
    loaded: int
    """Clock edges of the frame that stands in the register: of an earlier one after a latch without clocks."""


def decode(capture: Capture, bus: BusWiring) -> Decoding:
    """Which words the devices have taken, and how sound each frame is.

    Data is the level that stands before the active clock edge; a change at the very time of the edge is too late. All
    devices share one shift register: on an active latch edge a device takes the last bits of it. Clock edges since the
    latch of *any* device must be as many as the word has bits: none is a re-latch (the word of the frame before is
    taken again), fewer a short frame (no word), more a long frame (the last bits, noted). Latches at the same time are
    one broadcast; devices of different word length then have an entry each.

    Args:
        capture: edge list; only data may be unknown.
        bus: which line is what.
    Returns:
        the words in order of time, and counts of what no word shows.
    Raises:
        CaptureError: the capture contradicts itself, lacks a line of the wiring, or clock or a latch is unknown.
    Source:
        common practice for three-wire buses; captures and words in tests/published/test_three_wire.py.
    """
    check_capture(capture, bus.roles)
    _check_known(capture, bus)
    edges = line_edges(capture, bus.roles, bus.minimum_pulse_ns)
    data, clock = edges[bus.data], edges[bus.clock]
    latches = {device.latch: edges[device.latch] for device in bus.devices}
    clocks_ns = clock.active(rising=bus.clock_rising)
    bits = _sampled(capture, bus.data, data, clocks_ns)
    instants = _instants(latches, rising=bus.latch_rising)
    widths = {device.latch: device.bits for device in bus.devices}
    longest = max(widths.values())
    words: list[LatchedWord] = []
    clocked = loaded = 0
    for time_ns, names in sorted(instants.items()):
        upto = int(clocks_ns.searchsorted(time_ns))
        loaded = upto - clocked or loaded
        frame = _Frame(time_ns, bits[max(0, upto - longest) : upto], upto - clocked, loaded)
        words += _taken(frame, names, widths)
        clocked = upto
    return Decoding(
        words=tuple(words),
        unlatched_bits=int(clocks_ns.size) - clocked,
        clock_edges=int(clocks_ns.size),
        idle_data_edges=_idle_edges(data.times_ns, clocks_ns),
        complete=capture.dropped == 0,
        glitches=sum(line.glitches for line in edges.values()),
        clocks_under_latch=_under_latch(clocks_ns, latches, rising=bus.latch_rising),
    )


def _check_known(capture: Capture, bus: BusWiring) -> None:
    if capture.unknown is None:
        return
    for name in bus.roles[1:]:
        doubtful = np.flatnonzero(capture.unknown & (1 << capture.lines.index(name)))
        if doubtful.size:
            raise CaptureError(
                f"capture: line {name} is unknown at {capture.times_ns[doubtful[0]]} ns; only data may be: "
                "without clock and latches there are no words; look at its threshold and its probe"
            )


def _sampled(capture: Capture, name: str, data: LineEdges, clocks_ns: Times) -> str:
    """Data before each active clock edge, as a text of 0, 1 and x."""
    text: npt.NDArray[np.uint8] = data.high_before(clocks_ns).astype(np.uint8) + np.uint8(ord("0"))
    if capture.unknown is not None and capture.unknown.size:
        doubtful = (capture.unknown & (1 << capture.lines.index(name))) != 0
        before = capture.times_ns.searchsorted(clocks_ns) - 1
        text[(before >= 0) & doubtful[before]] = ord(UNKNOWN)
    return text.tobytes().decode("ascii")


def _instants(latches: dict[str, LineEdges], *, rising: bool) -> dict[int, list[str]]:
    """Latch lines by the time of their active edge."""
    instants: dict[int, list[str]] = {}
    for name, edges in latches.items():
        for time_ns in edges.active(rising=rising).tolist():
            instants.setdefault(time_ns, []).append(name)
    return instants


def _taken(frame: _Frame, latches: list[str], widths: dict[str, int]) -> Iterator[LatchedWord]:
    """The words taken at one instant, one for each word length."""
    for width in sorted({widths[latch] for latch in latches}):
        value, note = _word(frame, width, broadcast=len(latches) > 1)
        yield LatchedWord(
            time_ns=frame.time_ns,
            latches=tuple(latch for latch in latches if widths[latch] == width),
            bits=width,
            value=value,
            clocks_since=frame.clocks_since,
            note=note,
        )


def _word(frame: _Frame, width: int, *, broadcast: bool) -> tuple[int | None, str]:
    """Value and note; the first note that applies, since what spoils the word matters more than who took it."""
    text = frame.bits[-width:]
    known = frame.loaded >= width and UNKNOWN not in text
    value = int(text, 2) if known else None
    if frame.clocks_since == 0:
        return value, "re-latch"
    if frame.clocks_since < width:
        return None, "short-frame"
    if not known:
        return None, "unknown-level"
    if frame.clocks_since > width:
        return value, "long-frame"
    return value, "broadcast" if broadcast else ""


def _idle_edges(data_ns: Times, clocks_ns: Times) -> int:
    """Data edges that are not the last before a clock edge; one at the very time of the edge belongs to the next."""
    following = clocks_ns.searchsorted(data_ns, side="right")
    sampled: npt.NDArray[np.intp] = np.unique(following[following < clocks_ns.size])
    return int(data_ns.size - sampled.size)


def _under_latch(clocks_ns: Times, latches: dict[str, LineEdges], *, rising: bool) -> int:
    """Clock edges that fall while any latch stands at its active level."""
    under = np.zeros(clocks_ns.shape, dtype=np.bool_)
    for edges in latches.values():
        under |= edges.high_before(clocks_ns) == rising
    return int(np.count_nonzero(under))
