"""Is the contact between source and unit the same each time? No relay of the unit moves meanwhile."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from statistics import fmean, median

from harness.errors import StationFault
from harness.sweep.checks.gentle import Gentle, percent
from harness.values import Rung

FEW, MANY = 3, 8
"""Readings at first, and where they scatter."""
QUIET_PERCENT = 0.05
"""Span of the few readings of a contact that is in order."""
WORN_PERCENT = 0.12
"""Standard deviation from which the station is locked: twice what half of all tests of repeats find."""
TIMES = 3.0
"""So many times the scatter without switching: fourteen differences each reach it by chance once in a thousand."""
EACH_PERCENT = 0.05
"""Least scatter of each channel for itself."""
JUMP_PERCENT = 10.0
"""Readings farther from the middle are a joint that opens, not a contact that scatters."""


def check_contact(gentle: Gentle, middles: Sequence[Rung]) -> float | None:
    """Read settings again and again, the source off and on in between, then without.

    Channels are read one after the other, until one is quiet: a contact that all of them share is in order then.
    Returns the span of the few readings of that channel, percent; None without. StationFault when all channels scatter
    by switching the source, and only by that.
    """
    for rung in middles:
        gentle.set(rung.setting)
        few = _readings(gentle, rung, FEW, switched=True)
        if len(few) < FEW:
            return None
        span_percent = max(few) - min(few)
        if span_percent <= QUIET_PERCENT:
            return span_percent
    with_percent, without_percent = [], []
    for rung in middles:
        gentle.set(rung.setting)
        without_percent.append(_scatter(_readings(gentle, rung, MANY, switched=False)))
        with_percent.append(_scatter(_readings(gentle, rung, MANY, switched=True)))
    worn_percent, own_percent = _together(with_percent), _together(without_percent)
    if min(with_percent) < EACH_PERCENT or worn_percent < max(WORN_PERCENT, TIMES * own_percent):
        return span_percent
    raise StationFault(
        f"the gain changes by {worn_percent:.2g} % (standard deviation of {MANY} times, all channels) whenever the "
        f"source is switched off and on, and by {own_percent:.2g} % while it stays on, though no relay of the unit "
        "moves: a contact between source and unit makes anew each time: reseat the unit, clean or renew the contacts "
        "of the fixture and the cable, then run again",
        fault="fixture-worn",
    )


def _readings(gentle: Gentle, rung: Rung, count: int, *, switched: bool) -> list[float]:
    """Gains over prediction, percent; those with a valid record."""
    found = []
    for _ in range(count):
        if switched:
            gentle.hands.off()
        found.append(gentle.read(rung))
    gentle.hands.off()
    return [percent(ratio) for ratio in found if ratio is not None]


def _scatter(readings_percent: Sequence[float]) -> float:
    """Standard deviation by successive differences, without jumps: a slow creep adds little. 0 of fewer than two."""
    middle = median(readings_percent) if readings_percent else 0.0
    near = [one for one in readings_percent if abs(one - middle) < JUMP_PERCENT]
    squares = [(after - before) ** 2 / 2.0 for before, after in pairwise(near)]
    return math.sqrt(fmean(squares)) if squares else 0.0


def _together(each_percent: Sequence[float]) -> float:
    return math.sqrt(sum(one * one for one in each_percent) / len(each_percent))
