"""Entries for a gain device that never takes a new word."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np

from harness.diagnosis.hypothesis import Hypothesis
from harness.diagnosis.view import NO_WORD, View
from harness.diagnosis.words import code_places

NEAR = 2
"""Codes tried on both sides of the likeliest."""
NEEDS_ODD = ("latch-broadcast", "chain-wrong-device")
"""Faults that the bus shows, or they are not there."""
GRID = 64
"""Codes of the first look; gains rise or fall steadily with the code."""
MOST_FIELDS = 64
"""States of the rest of the word that are tried."""


def frozen_hypotheses(view: View) -> Iterator[Hypothesis]:
    """What a word that stays for ever would do; which one is taken from the gains.

    Args:
        view: of the channel.
    Returns:
        entries for a latch or a clock that is missing, with silent and with right words on the bus.
    Source:
        the law with one word at every setting.
    """
    if view.word_bits == 0 or np.unique(view.planned).size < 2:
        return
    silent = np.full(view.count, NO_WORD, dtype=np.int64)
    plain = bool(view.heard.any())
    for word in _words(view):
        held = np.full(view.count, word, dtype=np.int64)
        pattern_percent = view.of_words(held)
        for fault, prior, odd, latched in (
            ("latch-missing", 0.0, (), (None, silent)),
            ("clock-line-dead", 2.0, ("re-latch", "short-frame"), (None, silent)),
            ("latches-crossed", 1.0, ("wrong-latch",), (held,)),
            ("latch-broadcast", 2.0, ("broadcast",), (held,)),
            ("chain-wrong-device", 3.0, ("long-frame",), (None, held)),
        ):
            for shown in latched if plain else latched[:1]:
                yield Hypothesis(
                    fault=fault,
                    what=f"word {word:X}",
                    pattern_percent=pattern_percent,
                    by_code=True,
                    latched=shown,
                    free=1,
                    explains=frozenset({"bus-timing", *odd}),
                    prior=prior,
                    needs=frozenset(odd) if fault in NEEDS_ODD else frozenset(),
                )


def _words(view: View) -> list[int]:
    """The likeliest constant words: for each state of the other bits the code that the typical gain asks for."""
    if not bool(view.known.any()):
        return [0]
    places = code_places(view)
    others = [place for place in range(view.word_bits) if place not in places]
    found: dict[int, float] = {}
    for bits in list(product((0, 1), repeat=len(others)))[:MOST_FIELDS]:
        base = sum(bit << place for bit, place in zip(bits, others, strict=True))
        step = max(2 ** len(places) // GRID, 1)
        coarse, _ = _nearest(view, base, places, range(0, 2 ** len(places), step))
        _, near = _nearest(view, base, places, range(max(coarse - step, 0), min(coarse + step + 1, 2 ** len(places))))
        found.update(near)
    return sorted(found, key=lambda word: found[word])[: 2 * NEAR + 1]


def _nearest(view: View, base: int, places: tuple[int, ...], codes: range) -> tuple[int, dict[int, float]]:
    """The code that comes nearest, and how far the word of each code is from the gains, percent."""
    words = np.asarray([base | _spread(code, places) for code in codes], dtype=np.int64)
    misfits = _misfits(view, words)
    return codes[int(np.argmin(misfits))], dict(zip(words.tolist(), misfits.tolist(), strict=True))


def _spread(code: int, places: tuple[int, ...]) -> int:
    return sum((code >> bit & 1) << place for bit, place in enumerate(places))


def _misfits(view: View, words: np.ndarray) -> np.ndarray:
    """Median distance of each constant word to the gains of a few visits, percent."""
    known = np.flatnonzero(view.known)
    chosen = known[np.linspace(0, known.size - 1, min(known.size, 9)).astype(np.int64)]
    rows = [view.at_visit(int(place), words) - view.off_percent[place] for place in chosen]
    return np.asarray(np.median(np.abs(np.stack(rows)), axis=0))
