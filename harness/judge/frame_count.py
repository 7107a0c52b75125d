"""Are clock edges and latches of a frame as many as belong to it? A right word may have come with too many."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from harness.bus import BusWiring
from harness.values import Decoding, LatchedWord

WRONG_LATCH = "wrong-latch"
"""Code of a frame that was latched, but into another gain device."""


def surplus_of(decoding: Decoding, word: LatchedWord, latch: str, wiring: BusWiring) -> str:
    """What is too many about the frame of a word.

    Args:
        decoding: of the capture.
        word: that was taken under the latch.
        latch: of the gain device.
        wiring: of the bus.
    Returns:
        empty, or in words: latches that nobody planned, or clock edges that are no whole frames of other gain devices
        whose own latch stayed away (those are a fault of theirs).
    Source:
        common practice for three-wire buses: edges are counted as well as compared.
    """
    if len(word.latches) > 1 and not wiring.broadcast_allowed:
        return f"{', '.join(name for name in word.latches if name != latch)} as well"
    surplus = word.clocks_since - sum(wiring.chain(latch))
    if surplus <= 0:
        return ""
    fired = {name for other in decoding.words for name in other.latches}
    silent = [sum(wiring.chain(name)) for name in wiring.latches if name not in fired]
    return "" if _made_of(surplus, silent) else f"{surplus} clocks too many"


def elsewhere(decoding: Decoding, latch: str) -> tuple[str, ...]:
    """Which latches took the frame in place of one that did not fire.

    Args:
        decoding: of the capture.
        latch: that did not fire.
    Returns:
        the other latches, where every clock edge belongs to a word under one of them; none where edges are left over,
        for then the frame was sent and nobody took it.
    Source:
        common practice for three-wire buses.
    """
    fired = tuple(dict.fromkeys(name for word in decoding.words for name in word.latches))
    whole = all(word.clocks_since <= word.bits for word in decoding.words if word.position == 0)
    return fired if fired and whole and decoding.unlatched_bits == 0 and latch not in fired else ()


def _made_of(surplus: int, frames: Sequence[int]) -> bool:
    return any(sum(some) == surplus for count in range(1, len(frames) + 1) for some in combinations(frames, count))
