"""The search: cover every demand greedily, drop what is not needed, exchange towards the best prediction."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from harness.diagnosis.view import Flags
from harness.ladder.short.musts import Must
from harness.ladder.short.prediction import READING_PERCENT, Model

MOST_EXCHANGES = 40
"""A search that has not ended by then gains next to nothing."""
GAIN_RATIO = 1e-6
"""A largest uncertainty that shrinks by less is the same."""
RARE = (0.0, 1.0, 3.0, 10.0, 30.0)
"""How much more a demand weighs that few settings can meet; the fewest settings win."""


def covering(demands: Sequence[Must], model: Model) -> tuple[int, ...]:
    """Few settings that meet every demand.

    Args:
        demands: what must be visited, each with no more than there is.
        model: decides between settings that meet as many.
    Returns:
        settings as coarse · fine index, rising.
    Source:
        greedy multi-cover, within ln(n) of the fewest (Chvatal 1979).
    """
    table, least = _table(demands)
    found: list[list[int]] = []
    for rare in RARE:
        chosen = _without_idle(_greedy(table, least, model, rare=rare), table, least, model)
        found.append(_merged(chosen, table, least, model))
    ranked = [(len(chosen), model.worst_percent(chosen), sorted(chosen)) for chosen in found]
    return tuple(min(ranked)[2])


def _greedy(table: Flags, least: np.ndarray, model: Model, *, rare: float) -> list[int]:
    """Settings that meet most open demands, one after the other; one that few settings can meet weighs more."""
    chosen: list[int] = []
    left = least.copy()
    weights = 1.0 + rare / np.maximum(table.sum(axis=1), 1)
    while bool(np.any(left > 0)):
        scores = (table * (weights * (left > 0))[:, None]).sum(axis=0)
        scores[chosen] = -1.0
        best = np.flatnonzero(scores >= scores.max() - 1e-9)
        variances = model.variances(chosen)
        place = int(best[np.argmax(variances[best])])
        chosen.append(place)
        left = left - table[:, place]
    return chosen


def _merged(chosen: list[int], table: Flags, least: np.ndarray, model: Model) -> list[int]:
    """With one setting in place of two wherever one meets what both did."""
    for first, second in combinations(chosen, 2):
        rest = [place for place in chosen if place not in (first, second)]
        able = _able(table, least, rest)
        if able.size:
            place = min(able.tolist(), key=lambda one: model.worst_percent([*rest, one]))
            return _merged([*rest, place], table, least, model)
    return chosen


def _able(table: Flags, least: np.ndarray, rest: Sequence[int]) -> np.ndarray:
    """Settings that alone meet what others leave open."""
    lacking = least - table[:, list(rest)].sum(axis=1)
    if bool(np.any(lacking > 1)):
        return np.zeros(0, dtype=np.int64)
    able = table[lacking > 0].all(axis=0)
    able[list(rest)] = False
    return np.flatnonzero(able)


def exchanged(places: Sequence[int], demands: Sequence[Must], model: Model) -> tuple[int, ...]:
    """As many settings that predict all others best while they meet every demand.

    Args:
        places: that meet them.
        demands: as for `covering`.
        model: of the law.
    Returns:
        settings as coarse · fine index, rising; the largest variance is no larger than before.
    Source:
        exchange for optimal designs (Fedorov 1972; Meyer and Nachtsheim, Technometrics 37, 1995).
    """
    table, least = _table(demands)
    chosen = sorted(places)
    worst = model.worst_percent(chosen)
    for _ in range(MOST_EXCHANGES):
        better, swap = worst * (1.0 - GAIN_RATIO), None
        for out in chosen:
            rest = [place for place in chosen if place != out]
            for place in _able(table, least, rest):
                if place == out:
                    continue
                value = model.worst_percent([*rest, int(place)])
                if value < better:
                    better, swap = value, (out, int(place))
        if swap is None:
            break
        chosen = sorted([*(place for place in chosen if place != swap[0]), swap[1]])
        worst = better
    return tuple(chosen)


def predicting(places: Sequence[int], demands: Sequence[Must], model: Model, *, most: int) -> tuple[int, ...]:
    """The same settings exchanged, and further ones, until no gain is less well known than by a reading of its own.

    Args:
        places: that meet every demand.
        demands: as for `covering`.
        model: of the law.
        most: settings in all.
    Returns:
        settings as coarse · fine index, rising.
    """
    chosen = exchanged(places, demands, model)
    while len(chosen) < most and model.worst_percent(chosen) > READING_PERCENT:
        variances = model.variances(chosen)
        variances[list(chosen)] = -1.0
        chosen = exchanged([*chosen, int(np.argmax(variances))], demands, model)
    return chosen


def _table(demands: Sequence[Must]) -> tuple[Flags, np.ndarray]:
    table = np.stack([demand.places for demand in demands])
    return table, np.asarray([demand.least for demand in demands])


def _without_idle(chosen: list[int], table: Flags, least: np.ndarray, model: Model) -> list[int]:
    """Without settings that later ones made needless; first the one whose loss harms the prediction least."""
    while True:
        idle = [
            place
            for place in chosen
            if bool(np.all(table[:, [other for other in chosen if other != place]].sum(axis=1) >= least))
        ]
        if not idle:
            return chosen
        rests = [[other for other in chosen if other != place] for place in idle]
        chosen = min(rests, key=model.worst_percent)
