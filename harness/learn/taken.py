"""The words that gain devices take in a capture."""

from __future__ import annotations

from collections.abc import Iterator

from harness.bus import BusWiring, decode
from harness.values import Capture, ControlWord

AGAIN = "re-latch"
"""No clock since the latch before: the device keeps what it has."""


def taken(capture: Capture, wiring: BusWiring) -> Iterator[tuple[str, ControlWord | None]]:
    """What each latch takes, in order of time.

    Args:
        capture: of the bus.
        wiring: of the bus.
    Yields:
        latch and its word; None for a frame that is not sound: what the device holds from then on is not known.
    Raises:
        CaptureError: the capture cannot be decoded.
    Source:
        none: selection.
    """
    for word in decode(capture, wiring).words:
        if word.note == AGAIN:
            continue
        sound = word.value is not None and not word.note
        for latch in word.latches:
            yield latch, ControlWord(latch, word.bits, word.value or 0) if sound else None
