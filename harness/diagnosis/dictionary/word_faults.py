"""Entries for wrong words: the bus carries them, or only the pins of the gain device see them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from harness.diagnosis.hypothesis import Hypothesis
from harness.diagnosis.view import View
from harness.diagnosis.words import Transform, transforms

MOST_ROWS_RATIO = 0.1
"""More wrong rows than this are no matter of single rows of a table."""


def word_hypotheses(view: View) -> Iterator[Hypothesis]:
    """What wrong words would do, seen on the bus or not.

    Args:
        view: of the channel.
    Returns:
        entries whose gains follow the words.
    Source:
        the law, on transformed words.
    """
    for transform in transforms(view):
        if np.array_equal(transform.words, view.planned):
            continue
        pattern_percent = view.of_words(transform.words)
        yield _entry(transform, pattern_percent, on_bus=False)
        if bool(view.heard.any()):
            yield _entry(transform, pattern_percent, on_bus=True)
    yield from _rows(view)
    yield from _edges(view)


FLAT_PRIOR = 4.0
"""A wrong word that does the same at every setting looks like one factor on everything, and that is the likelier."""


def _entry(transform: Transform, pattern_percent: np.ndarray, *, on_bus: bool) -> Hypothesis:
    return Hypothesis(
        fault=transform.fault,
        what=transform.what,
        pattern_percent=pattern_percent,
        latched=transform.words if on_bus else None,
        by_code=True,
        free=transform.free,
        explains=frozenset({"bus-timing", *ODD.get(transform.fault, ())}),
        prior=_PRIORS.get(transform.fault, 0.0) + (0.0 if on_bus or np.ptp(pattern_percent) > 1e-9 else FLAT_PRIOR),
    )


ODD = {
    "latch-one-frame-late": ("re-latch",),
    "extra-clock-edge": ("long-frame",),
    "wrong-clock-edge": ("short-frame", "long-frame"),
}
"""What is odd about the frames of a fault."""
_PRIORS = {"data-bits-shorted": 1.0, "word-polarity-inverted": 1.0, "data-bits-swapped": 0.5}
"""Where two transforms do the same to every word of the ladder, the plainer one goes first."""


def _rows(view: View) -> Iterator[Hypothesis]:
    """Single settings with a wrong but well formed word, and gains that follow it."""
    wrong = view.heard & (view.latched >= 0) & (view.latched != view.planned)
    rows = np.unique(view.index[wrong])
    if not 0 < rows.size <= max(1.0, MOST_ROWS_RATIO * np.unique(view.index).size):
        return
    words = np.where(wrong, view.latched, view.planned)
    yield Hypothesis(
        fault="word-table-row-wrong",
        what=f"{rows.size} rows" if rows.size > 1 else f"row {_name(view, int(rows[0]))}",
        pattern_percent=view.of_words(words),
        latched=words,
        by_code=True,
        free=int(rows.size),
    )


def _edges(view: View) -> Iterator[Hypothesis]:
    """Now and then a clock edge too many, as the frames say, and gains that follow the shifted words."""
    long = np.asarray(["long-frame" in visit.odd for visit in view.visits], dtype=np.bool_)
    hit = long & (view.latched >= 0) & (view.latched != view.planned)
    words = np.where(hit, view.latched, view.planned)
    shifted = view.planned << 1 & np.int64(2**view.word_bits - 1)
    if not bool(hit.any()) or bool((hit & (words >> 1 != shifted >> 1)).any()):
        return
    yield Hypothesis(
        fault="extra-clock-edge",
        what="at the frames that say so",
        pattern_percent=view.of_words(words),
        by_code=True,
        explains=frozenset({"bus-timing", "long-frame", "steady", "noise"}),
        needs=frozenset({"long-frame"}),
    )


def _name(view: View, place: int) -> str:
    coarse, fine = divmod(place, len(view.law.fine_names))
    return view.law.places[coarse][fine].name
