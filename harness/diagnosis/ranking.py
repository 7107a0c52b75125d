"""Which faults come nearest to all affected channels together, and whether any comes near enough."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from harness.diagnosis.chance import chi_square_999
from harness.diagnosis.distance import Match

AMBIGUOUS = 9.2
"""Distances closer than this cannot be told apart: 99 % point of chi-square with two degrees of freedom."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """One fault, held against all affected channels."""

    fault: str
    distance: float
    matches: Mapping[int, Match]
    """The best entry of the fault in each channel."""
    share_ratio: float
    """Likelihood of the fault among all that were compared, 0 to 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranking:
    """All faults, nearest first."""

    faults: tuple[Ranked, ...]
    misfit_ratio: float
    """What the best one leaves unexplained, squared, over degrees of freedom; infinite without any."""
    most_ratio: float
    """What chance allows that to be."""

    @property
    def explained(self) -> bool:
        """Whether the best one explains the readings."""
        return self.misfit_ratio <= self.most_ratio

    def ambiguous(self) -> tuple[str, ...]:
        """Faults that the readings cannot tell from the nearest one, itself included."""
        best = self.faults[0].distance if self.faults else 0.0
        return tuple(ranked.fault for ranked in self.faults if ranked.distance - best <= AMBIGUOUS)

    def alike(self, one: Ranked) -> tuple[str, ...]:
        """Faults that do the very same as one that is not the nearest, and lie as far off."""
        return tuple(
            other.fault
            for other in self.faults
            if abs(other.distance - one.distance) <= AMBIGUOUS and _same(one.matches, other.matches)
        )


def _same(these: Mapping[int, Match], those: Mapping[int, Match]) -> bool:
    return all(
        match.size == those[channel].size
        and np.array_equal(match.hypothesis.pattern_percent, those[channel].hypothesis.pattern_percent)
        for channel, match in these.items()
    )


def rank(found: Mapping[int, Sequence[Match]], *, readings: int, sound_channels: bool) -> Ranking:
    """Which faults explain the affected channels best.

    Args:
        found: nearest entries of each affected channel, nearest first.
        readings: valid ones of these channels.
        sound_channels: whether other channels were read and are right, which a fault of the station excludes.
    Returns:
        faults that all affected channels have in common, nearest first.
    Source:
        distances of independent readings add; shares by likelihood (common practice, no source).
    """
    best: list[dict[str, Match]] = []
    for matches in found.values():
        mine: dict[str, Match] = {}
        for match in matches:
            if not (sound_channels and match.hypothesis.everywhere):
                mine.setdefault(match.hypothesis.fault, match)
        best.append(mine)
    common = [fault for fault in best[0] if all(fault in mine for mine in best)] if best else []
    total = {fault: sum(mine[fault].distance for mine in best) for fault in common}
    order = sorted(common, key=lambda fault: total[fault])
    least = total[order[0]] if order else 0.0
    weights = {fault: math.exp(-min((total[fault] - least) / 2.0, 700.0)) for fault in order}
    whole = sum(weights.values())
    channels = list(found)
    faults = tuple(
        Ranked(
            fault=fault,
            distance=total[fault],
            matches={channel: mine[fault] for channel, mine in zip(channels, best, strict=True)},
            share_ratio=weights[fault] / whole,
        )
        for fault in order
    )
    dof = max(readings - len(channels), 1)
    return Ranking(
        faults=faults,
        misfit_ratio=sum(mine[order[0]].misfit for mine in best) / dof if order else math.inf,
        most_ratio=chi_square_999(dof) / dof,
    )
