"""From a capture to the words that the devices on the bus have taken."""

from __future__ import annotations

from harness.bus.edges import check_capture
from harness.bus.piece import Piece
from harness.bus.stream import NO_LIMITS, BusStream
from harness.bus.timing import TimingLimits
from harness.bus.wiring import BusWiring
from harness.values import BusTiming, Capture, Decoding


def decode(capture: Capture, bus: BusWiring, *, history_known: bool = True) -> Decoding:
    """Which words the devices have taken, and how sound each frame is.

    Data is the level that stands before the active clock edge; a change at the very time of the edge is too late. All
    devices share one shift register: on an active latch edge a device takes the last bits of it. Clock edges since the
    latch of *any* device must be as many as the word has bits: none is a re-latch (the word of the frame before is
    taken again), fewer a short frame (no word), more a long frame (the last bits, noted). Latches at the same time are
    one broadcast; devices of different word length then have an entry each. Devices that share a latch are a daisy
    chain: the frame is as long as all their words together, and each has an entry, the farthest from the sender first.

    Args:
        capture: edge list; only data may be unknown.
        bus: which line is what.
        history_known: False after power-up or the opening of a port, when lines may have moved before the capture: the
            first frame is then noted unknown-history unless it has as many clocks as the word has bits.
    Returns:
        the words in order of time, and counts of what no word shows.
    Raises:
        CaptureError: the capture contradicts itself, lacks a line of the wiring, or clock or a latch is unknown.
    Source:
        common practice for three-wire buses; captures and words in tests/published/test_three_wire.py.
    """
    stream = stream_of(capture, bus, NO_LIMITS, history_known=history_known)
    tables = (stream.feed(whole(capture)), stream.close())
    words = tuple(word for table in tables for word in table.words())
    return stream.decoding(words, complete=capture.dropped == 0)


def measure_timing(capture: Capture, bus: BusWiring, limits: TimingLimits = NO_LIMITS) -> BusTiming:
    """How far the edges on the bus stand from each other, held against limits.

    Args:
        capture: edge list; only data may be unknown.
        bus: which line is what.
        limits: least distances, ns, and fastest clock, Hz.
    Returns:
        the distances, glitches and the bound on the share of wrong frames.
    Raises:
        CaptureError: as `decode`.
    Source:
        common practice for three-wire buses; frames worked by hand in tests/bus/test_bus_timing.py.
    """
    stream = stream_of(capture, bus, limits)
    stream.feed(whole(capture))
    stream.close()
    return stream.timing()


def stream_of(capture: Capture, bus: BusWiring, limits: TimingLimits, *, history_known: bool = True) -> BusStream:
    """A stream for one whole capture.

    Args:
        capture: edge list, not fed yet.
        bus: which line is what.
        limits: least distances, ns, and fastest clock, Hz.
        history_known: as `decode`.
    Returns:
        the stream.
    Raises:
        CaptureError: as `decode`.
    Source:
        see `decode`.
    """
    check_capture(capture, bus.roles)
    return BusStream(bus, initial=capture.initial, lines=capture.lines, limits=limits, history_known=history_known)


def whole(capture: Capture) -> Piece:
    """A capture as the only piece of a stream.

    Args:
        capture: edge list.
    Returns:
        the piece.
    Source:
        none: the same content.
    """
    times_ns = capture.times_ns
    return Piece(
        ticks=times_ns,
        levels=capture.levels,
        known_to=int(times_ns[-1]) if times_ns.size else 0,
        unknown=capture.unknown,
        distinct=bool((times_ns[1:] > times_ns[:-1]).all()),
    )
