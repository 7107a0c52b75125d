"""Which settings of one channel show which faults of the dictionary."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.diagnosis import Case, Visit
from harness.diagnosis.dictionary import hypotheses
from harness.diagnosis.view import Flags, View, view_of
from harness.law import GainLaw
from harness.values import Setting

SHOWN_RATIO = 0.5
"""A fault of free size counts as above its threshold at twice the size that reaches the limit where it shows most."""
Key = tuple[str, str, int]
"""Fault, place, and which of several ways of it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Entry:
    """A fault at a place."""

    key: Key
    peak_percent: float
    """Most that it moves a gain, at size 1 where the size is free."""
    shows: Flags
    """Whether a reading of a setting shows it, shape (coarse · fine,)."""


def entries(
    law: GainLaw, places: Sequence[int], *, least_percent: float, peaks: dict[Key, float] | None = None
) -> tuple[Entry, ...]:
    """What a walk up and down over some settings shows of every fault of the dictionary.

    Args:
        law: of the device.
        places: settings of one channel as coarse · fine index, rising.
        least_percent: a reading shows a fault of fixed size that moves it by more.
        peaks: most that faults of free size move a gain on the whole ladder; None: on this one.
    Returns:
        entries that show at some setting; what only offset, noise or readings beside the ladder show is not among them.
    """
    view = _view(law, places)
    found: list[Entry] = []
    counts: dict[tuple[str, str], int] = {}
    for one in hypotheses(view):
        number = counts[one.key] = counts.get(one.key, -1) + 1
        key = (*one.key, number)
        pattern_percent = np.abs(one.pattern_percent)
        peak_percent = float(np.max(pattern_percent, initial=0.0))
        if one.sized:
            peak = peak_percent if peaks is None else peaks.get(key, peak_percent)
            visits = (pattern_percent >= SHOWN_RATIO * peak) & (pattern_percent > 0.0)
        else:
            visits = pattern_percent > least_percent
        if one.latched is not None:
            visits = visits | (one.latched != view.planned)
        shows = np.zeros(law.arithmetic_ratio.size, dtype=np.bool_)
        shows[view.index[visits]] = True
        if bool(shows.any()):
            found.append(Entry(key=key, peak_percent=peak_percent, shows=shows))
    return tuple(found)


def _view(law: GainLaw, places: Sequence[int]) -> View:
    """A good unit, walked up and down."""
    count = len(law.fine_names)
    settings = [Setting(1, *divmod(place, count)) for place in (*places, *reversed(places))]
    visits = tuple(
        Visit(
            setting=setting,
            order=order,
            off_percent=0.0,
            u_percent=0.02,
            measurable=True,
            word=law.predict(setting).state.word.value if law.words is not None else None,
            sound=True,
        )
        for order, setting in enumerate(settings)
    )
    return view_of(Case(law=law, visits=visits, captured=law.words is not None), 1)
