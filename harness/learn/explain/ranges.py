"""What tells ranges apart beside the code: bits that move with the range, and states that no word shows."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from harness.learn.explain.hypothesis import Fitted, Floats
from harness.learn.explain.movement import Movement, Moves
from harness.learn.explain.observed import Seen

SAME_STATE_RATIO = 0.015
"""Bases nearer than this are one state of whatever switches: dividers are good to a few tenths of a percent."""
MOST_BITS = 6
"""More bits of the range than this are not sorted out one by one."""
STATE_COST = 1.5
"""A state that no word shows counts for more than a bit that everybody sees."""
BEAM = 64
"""Partial answers that are followed up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """A range that differs a little from those that it shares everything with."""

    coarse: int
    state: int
    """The state that it would be in."""
    log: float
    """ln of the factor."""
    u_log: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeStates:
    """How ranges differ."""

    bit_logs: Mapping[int, float]
    """ln of the ratio of each bit that moves with the range and counts, by place."""
    silent: tuple[int, ...]
    """Bits that move with the range without an effect of their own: coils of relays, lamps, or something unknown."""
    state_of: Mapping[int, int]
    """State of what no word shows, by range; 0 is the one of the first range."""
    state_logs: tuple[float, ...]
    """ln of the ratio of each state, relative to the first."""
    factors: Mapping[int, Factor] = field(default_factory=dict)
    """Of states that are a range with a factor of its own, by state."""

    @property
    def hidden(self) -> bool:
        """Whether something that no word shows tells ranges apart."""
        return len(self.state_logs) > 1


def with_factors(
    states: RangeStates | None, seen: Seen, factors: Mapping[int, tuple[float, float]]
) -> RangeStates | None:
    """The same states, with one more for each range that has a factor of its own.

    Args:
        states: as found; None where words tell all ranges apart.
        seen: all settings.
        factors: ln and its standard uncertainty, by range.
    Returns:
        the states; None where there are none and no factors.
    Source:
        none: bookkeeping.
    """
    if not factors:
        return states
    everywhere = {int(coarse): 0 for coarse in np.unique(seen.coarse)}
    known = states or RangeStates(bit_logs={}, silent=(), state_of=everywhere, state_logs=(0.0,))
    state_of, logs, found = dict(known.state_of), list(known.state_logs), {}
    for coarse, (log, u_log) in sorted(factors.items()):
        state = state_of[coarse]
        found[len(logs)] = Factor(coarse=coarse, state=state, log=log, u_log=u_log)
        state_of[coarse] = len(logs)
        logs.append(logs[state] + log)
    return replace(known, state_of=state_of, state_logs=tuple(logs), factors=found)


def range_states(fitted: Fitted, seen: Seen, movement: Movement) -> RangeStates:
    """What the bases of the ranges say.

    Args:
        fitted: an explanation with a base for each range of each channel, numbered as `competition.bases` does.
        seen: all settings.
        movement: of the bits.
    Returns:
        ratios of the bits that move with the range, chosen so that as few states as possible are left, and the states.
    Source:
        common practice, no source: the fewest switches that explain all ranges; a beam search.
    """
    logs = _range_logs(fitted, seen)
    ranges = sorted(logs)
    bits = {place: _by_range(seen, place) for place in movement.places(Moves.COARSE)[:MOST_BITS]}
    bases = np.asarray([logs[index] for index in ranges])
    values = {place: np.asarray([of[index] for index in ranges]) for place, of in bits.items()}
    found = _fewest(bases, values)
    left = bases - sum((log * values[place] for place, log in found.items()), np.zeros(len(ranges)))
    states = _cluster(left)
    first = states[0]
    order = list(dict.fromkeys([first, *states]))
    means = [float(np.mean([v for v, s in zip(left, states, strict=True) if s == state])) for state in order]
    return RangeStates(
        bit_logs=found,
        silent=tuple(place for place in movement.places(Moves.COARSE) if place not in found),
        state_of={index: order.index(state) for index, state in zip(ranges, states, strict=True)},
        state_logs=tuple(mean - means[0] for mean in means),
    )


def _range_logs(fitted: Fitted, seen: Seen) -> dict[int, float]:
    """ln gain of each range's base, the channel's own scale taken off, mean over the channels."""
    span = int(seen.coarse.max()) + 1
    by_channel: dict[int, dict[int, float]] = {}
    for group, log in fitted.base.items():
        by_channel.setdefault(group // span, {})[group % span] = log
    shared = set.intersection(*(set(own) for own in by_channel.values())) or set(next(iter(by_channel.values())))
    found: dict[int, list[float]] = {}
    for own in by_channel.values():
        level = float(np.mean([own[index] for index in shared if index in own]))
        for index, log in own.items():
            found.setdefault(index, []).append(log - level)
    return {index: float(np.mean(logs)) for index, logs in found.items()}


def _by_range(seen: Seen, place: int) -> dict[int, float]:
    return {int(index): float(seen.bits[seen.coarse == index, place][0]) for index in np.unique(seen.coarse)}


def _fewest(bases: Floats, values: Mapping[int, Floats]) -> dict[int, float]:
    """Ratios of the bits, as ln, that leave fewest states; a bit costs less than a state that nobody sees."""
    beam: list[tuple[float, dict[int, float]]] = [(STATE_COST * len(set(_cluster(bases))), {})]
    for place, set_ in values.items():
        grown = list(beam)
        for _, known in beam:
            left = bases - sum((log * values[other] for other, log in known.items()), np.zeros(bases.size))
            for log in _differences(left, set_):
                count = len(set(_cluster(left - log * set_)))
                grown.append((STATE_COST * count + len(known) + 1, {**known, place: _refined(left, set_, log)}))
        beam = sorted(grown, key=lambda one: (one[0], sorted(one[1])))[:BEAM]
    return beam[0][1]


def _differences(left: Floats, set_: Floats) -> list[float]:
    """The ratios, as ln, that a bit may have: those between a range with it and one without."""
    ends = itertools.product(left[set_ > 0.5], left[set_ < 0.5])
    logs = sorted(a - b for a, b in ends if abs(a - b) > SAME_STATE_RATIO)
    return [log for k, log in enumerate(logs) if k == 0 or log - logs[k - 1] > SAME_STATE_RATIO / 3.0]


def _refined(left: Floats, set_: Floats, log: float) -> float:
    """The mean over all pairs of ranges that this ratio makes alike."""
    pairs = [
        float(left[a] - left[b])
        for a, b in itertools.product(np.flatnonzero(set_ > 0.5), np.flatnonzero(set_ < 0.5))
        if abs(left[a] - left[b] - log) < SAME_STATE_RATIO
    ]
    return float(np.mean(pairs)) if pairs else log


def _cluster(values: Floats) -> list[int]:
    """Number of the cluster of each value: neighbours in order nearer than SAME_STATE_RATIO are together."""
    order = np.argsort(values, kind="stable")
    ordered = values[order]
    numbers = np.concatenate(([0], np.cumsum(np.diff(ordered) > SAME_STATE_RATIO)))
    found = np.empty(len(order), dtype=np.int64)
    found[order] = numbers
    return [int(number) for number in found]
