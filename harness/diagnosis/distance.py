"""How far the readings of a channel are from what a fault would do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.diagnosis.hypothesis import Hypothesis
from harness.diagnosis.view import LN_K_PERCENT, Flags, Floats, View

SIZE_COST = 12.0
"""A size that is taken from the readings costs as much as it would win by chance once in two thousand."""
WORD_COST = 50.0
"""A word is exact: each one that differs from the prediction counts so much."""
ITEM_COST = 60.0
"""The same of each failed requirement, and each oddity on the bus, that a fault does not explain."""
SILENT_COST = 25.0
"""The same of a reading without a gain where the fault leaves one."""
SILENT_PERCENT = -300.0
"""A fault that leaves less than this leaves no gain that could be read."""
SCALE_RATIO = 0.005
"""How exactly the size of a fixed pattern is known: half the window of an exact factor."""
EACH_RATIO = 0.001
"""The same of each reading for itself: a gain far from the planned one rests on other parts than planned."""
MOST_GROWTH_RATIO = 30.0
"""A code so much smaller than planned has no accuracy left."""
CAP = 100.0
"""In the first pass no reading counts more."""
KEPT = 32
"""Entries that are compared in full."""
GAIN_ITEMS = frozenset(
    {
        "gain",
        "residual",
        "fine-step",
        "coarse-step",
        "monotonic",
        "parameter",
        "measurable",
        "word",
        "channel-match",
        "realness",
        "up-down",
    }
)
"""Items that the readings or the words themselves speak for."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Match:
    """An entry held against a channel."""

    hypothesis: Hypothesis
    distance: float
    """Squared, in standard uncertainties, with all costs."""
    misfit: float
    """The same without the costs of sizes and priors: what the fault leaves unexplained."""
    size: float | None
    """The size that fits best; None for a fixed one."""


def matches(view: View, entries: tuple[Hypothesis, ...], failed: frozenset[str]) -> tuple[Match, ...]:
    """How far each entry of the dictionary is from the readings.

    Args:
        view: of the channel.
        entries: of the dictionary.
        failed: items of claims that the channel does not meet.
    Returns:
        the nearest entries with their distances, nearest first.
    Source:
        Mahalanobis distance with the covariance of good units, a cost for each fitted size; the determinant is kept
        because a pattern brings its own uncertainty (Gaussian likelihood, common practice).
    """
    possible = [entry for entry in entries if not entry.needs or entry.needs & failed]
    costs = [_costs(view, entry, failed) for entry in possible]
    # What a failed requirement speaks for is always compared in full.
    rough = [
        -1.0 if entry.needs else cost[0] + _rough(view, entry) for entry, cost in zip(possible, costs, strict=True)
    ]
    order = np.argsort(np.asarray(rough), kind="stable")[:KEPT] if possible else np.zeros(0, dtype=np.int64)
    found = [_match(view, possible[place], costs[place]) for place in order.tolist()]
    return tuple(sorted(found, key=lambda match: match.distance))


def healthy_distance(view: View, failed: frozenset[str]) -> float:
    """The same of a channel without any fault.

    Args:
        view: of the channel.
        failed: items of claims that the channel does not meet.
    Returns:
        squared distance with the costs of what is not explained.
    Source:
        as `matches`.
    """
    nothing = Hypothesis(fault="", what="", pattern_percent=np.zeros(view.count))
    return _match(view, nothing, _costs(view, nothing, failed)).distance


def _costs(view: View, entry: Hypothesis, failed: frozenset[str]) -> tuple[float, float]:
    """Everything that does not depend on gains: what is left unexplained, and the price of sizes and rarity."""
    words = view.planned if entry.latched is None else entry.latched
    wrong = int(np.count_nonzero(view.heard & (view.latched != words)))
    left_percent = entry.pattern_percent[view.unmeasurable] * (not entry.sized)
    silent = int(np.count_nonzero(left_percent > SILENT_PERCENT))
    unexplained = len(failed - GAIN_ITEMS - entry.explains)
    left = WORD_COST * wrong + SILENT_COST * silent + ITEM_COST * unexplained
    return left, SIZE_COST * (entry.free + (1 if entry.sized else 0)) + entry.prior


def _each_percent(view: View, entry: Hypothesis, pattern_percent: Floats, size: float | None) -> Floats:
    """How exactly each reading of a pattern is known by itself, standard uncertainty, known readings."""
    each = np.hypot(EACH_RATIO * pattern_percent, entry.loose_ratio * (size or 0.0))
    if not (entry.by_code and view.code_has_weights):
        return each
    # A code step that is off weighs more the smaller the code is.
    growth = np.minimum(np.exp(np.minimum(np.maximum(-pattern_percent, 0.0) / 100.0, 10.0)), MOST_GROWTH_RATIO)
    return np.hypot(each, view.each_percent[view.known] * np.sqrt(growth**2 - 1.0))


def _rough(view: View, entry: Hypothesis) -> float:
    """Each reading for itself, capped, with the gain of the whole path free within its prior: a first look."""
    known: Flags = view.known
    off_percent, pattern_percent = view.off_percent[known], entry.pattern_percent[known]
    u_percent = view.part_percent[known]
    if not off_percent.size:
        return 0.0
    if entry.sized:
        centred = pattern_percent - _level(pattern_percent, u_percent)
        size = _size((off_percent - _level(off_percent, u_percent)) / u_percent, centred / u_percent)
        # A pattern without a shape is a level: that is all its size can be taken from.
        flat = not bool(np.any(np.abs(centred) > 1e-9))
        pattern_percent = pattern_percent * (_size(off_percent, pattern_percent) if flat else size)
    left = off_percent - pattern_percent
    spread = np.hypot(u_percent, SCALE_RATIO * pattern_percent)
    level = _level(left, spread)
    shift = level / (1.0 + 1.0 / (LN_K_PERCENT**2 * float(np.sum(spread**-2.0))))
    return float(np.sum(np.minimum(((left - shift) / spread) ** 2, CAP))) + (shift / LN_K_PERCENT) ** 2


def _level(values: Floats, spread: Floats) -> float:
    """Weighted mean."""
    weights = spread**-2.0
    return float(np.sum(weights * values) / np.sum(weights))


def _size(off: Floats, pattern: Floats) -> float:
    power = float(pattern @ pattern)
    return float(pattern @ off) / power if power > 0.0 else 0.0


def _match(view: View, entry: Hypothesis, costs: tuple[float, float]) -> Match:
    left, price = costs
    known = view.known
    off_percent, pattern_percent = view.off_percent[known], entry.pattern_percent[known]
    size, growth = None, 0.0
    if off_percent.size:
        metric = view.good
        if entry.sized:
            power = metric.product(pattern_percent, pattern_percent)
            size = metric.product(pattern_percent, off_percent) / power if power > 0.0 else 0.0
            pattern_percent = size * pattern_percent
        if pattern_percent.any():
            each = _each_percent(view, entry, pattern_percent, size) ** 2
            metric = metric.spread.with_more(each, SCALE_RATIO * pattern_percent).solver()
            growth = metric.log_size - view.good.log_size
        off_percent = off_percent - pattern_percent
        left += metric.product(off_percent, off_percent)
    return Match(hypothesis=entry, distance=left + growth + price, misfit=left, size=size)
