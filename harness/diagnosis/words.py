"""Transforms of words: what wrong wiring, timing and firmware make of the planned ones."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from harness.diagnosis.view import Integers, View


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Transform:
    """One way to get words wrong."""

    fault: str
    """Name in the catalogue."""
    what: str
    words: Integers
    """That reach the gain device, shape (n,)."""
    free: int = 0
    """Numbers taken from the readings."""


def code_places(view: View) -> tuple[int, ...]:
    """Where the bits of the code stand in the word.

    Args:
        view: of a channel.
    Returns:
        place in the word, 0 for its last bit, of each bit of the code, least significant first; none without a bus.
    Source:
        the layout in the device file.
    """
    if view.law.words is None:
        return ()
    layout = view.law.words.of_channel(view.channel)[0].layout
    for field in layout.fields:
        if field.control is not None and field.control.name == view.law.code_control:
            low = layout.bits - field.start - field.bits
            places = tuple(range(low, low + field.bits))
            return places[::-1] if field.least_significant_first else places
    return ()


def transforms(view: View) -> Iterator[Transform]:
    """Every way to get the planned words of a channel wrong.

    Args:
        view: of the channel.
    Returns:
        one transform per fault and place; none for a device without a bus.
    Source:
        signatures of single faults (common practice, no source).
    """
    if view.word_bits == 0 or view.count == 0:
        return
    places = code_places(view)
    yield from _stuck(view, places)
    yield from _pairs(view, places)
    yield from _whole(view, places)
    yield from _late(view)


def _stuck(view: View, places: tuple[int, ...]) -> Iterator[Transform]:
    for bit, place in enumerate(places):
        mask = np.int64(1 << place)
        yield Transform(fault="data-bit-stuck-low", what=f"bit {bit}", words=view.planned & ~mask)
        yield Transform(fault="data-bit-stuck-high", what=f"bit {bit}", words=view.planned | mask)


def _pairs(view: View, places: tuple[int, ...]) -> Iterator[Transform]:
    word = view.planned
    for i, low in enumerate(places):
        for j in range(i + 1, len(places)):
            high = places[j]
            both = np.int64(1 << low | 1 << high)
            differ = (word >> low ^ word >> high) & 1
            pair = f"bits {i} and {j}"
            yield Transform(fault="data-bits-swapped", what=pair, words=word ^ (differ << low | differ << high))
            any_set = np.where(word & both, word | both, word)
            yield Transform(fault="data-bits-shorted", what=f"{pair}, or", words=any_set)
            whole = (word & both) == both
            yield Transform(fault="data-bits-shorted", what=f"{pair}, and", words=np.where(whole, word, word & ~both))


def _whole(view: View, places: tuple[int, ...]) -> Iterator[Transform]:
    word, bits = view.planned, view.word_bits
    most = np.int64(2**bits - 1)
    zeros = np.zeros_like(word)
    yield Transform(fault="data-line-stuck", what="low", words=zeros)
    yield Transform(fault="data-line-stuck", what="high", words=zeros + most)
    yield Transform(fault="extra-clock-edge", what="", words=(word << 1 | word & 1) & most)
    for idle in (0, 1):
        yield Transform(fault="wrong-clock-edge", what=f"data idle {idle}", words=word >> 1 | idle << (bits - 1))
    shifted = view.heard & (view.latched >= 0) & ((view.latched & most >> 1) == word >> 1)
    if bool(shifted.any()):
        words = np.where(shifted, view.latched, word >> 1)
        yield Transform(fault="wrong-clock-edge", what="first bit as seen", words=words)
    mirrored = sum((word >> k & 1) << (bits - 1 - k) for k in range(bits))
    yield Transform(fault="bit-order-reversed", what="", words=np.asarray(mirrored, dtype=np.int64))
    for mask in sorted(_masks(view, places)):
        yield Transform(fault="word-polarity-inverted", what=f"mask {mask:X}", words=word ^ np.int64(mask))


def _masks(view: View, places: tuple[int, ...]) -> set[int]:
    """The whole code, the whole word, each bit alone, and what the bus shows."""
    code = sum(1 << place for place in places)
    seen = view.heard & (view.latched >= 0)
    shown = set(np.unique(view.planned[seen] ^ view.latched[seen]).tolist())
    return {code, 2**view.word_bits - 1, *(1 << place for place in places), *(shown if len(shown) == 1 else ())} - {0}


def _late(view: View) -> Iterator[Transform]:
    """The word before: that of the setting before, or of the fine position before in the new range."""
    before = np.concatenate((view.planned[:1], view.planned[:-1]))
    yield Transform(fault="latch-one-frame-late", what="", words=before)
    fine = np.concatenate((view.fine[:1], view.fine[:-1]))
    index = view.coarse * len(view.law.fine_names) + fine
    by_place = {int(place): int(word) for place, word in zip(view.index, view.planned, strict=True)}
    if all(int(place) in by_place for place in index):
        words = np.asarray([by_place[int(place)] for place in index], dtype=np.int64)
        yield Transform(fault="latch-one-frame-late", what="by fine position", words=words)
