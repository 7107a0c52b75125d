"""Gain that no hardware makes: settings that show more than a setting with the same word, and codes that lie apart."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.judge import waveform
from harness.learn.explain.observed import Seen
from harness.values import Realness, Setting

SAME_RATIO = 0.004
"""Gains nearer than this are the same: the source's own ranges differ by a tenth of a percent and more."""
PAIRS = 6
"""Pairs of settings that are held against each other for two ranges with the same words."""
NICE_RATIO = 1e-3
"""A factor this near to a simple one is that one."""
MOST_DENOMINATOR = 8

Waves = Mapping[Setting, waveform.Seen]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What of a setting's gain is arithmetic."""

    ratio: float
    """1 where nothing is."""
    realness: Realness
    """Hardware here means that nothing speaks for arithmetic yet."""
    why: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parts:
    """Of all settings."""

    parts: tuple[Part, ...]
    """In order of the settings."""
    alike: tuple[tuple[int, int, str], ...]
    """Pairs of ranges with the same words and different gains, and what tells them apart."""

    @property
    def ratios(self) -> npt.NDArray[np.float64]:
        """Shape (n,)."""
        return np.asarray([part.ratio for part in self.parts])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """Two settings with the same word."""

    lower: int
    upper: int
    """Row of the one with more gain."""
    ratio: float
    """Measured."""


def arithmetic_parts(seen: Seen, waves: Waves) -> Parts:
    """Which settings have gain by arithmetic, and how much.

    Args:
        seen: words and gains.
        waves: records of settings; without them nothing can be proven, and ranges with the same words stay unproven.
    Returns:
        one part for each setting. Codes that lie apart prove a whole factor, whatever the word does. Inside a range the
        same word means the same hardware. Between ranges a relay that no word shows may have moved: there the waveform
        decides.
    Source:
        practice: tests W1 to W7 of the waveform, two of which must agree.
    """
    combs = _combs(seen, waves)
    ratios = combs.copy()
    whys = ["" if comb == 1.0 else f"only every {comb:.0f}. code is used" for comb in combs]
    realness = [Realness.HARDWARE if comb == 1.0 else Realness.ARITHMETIC for comb in combs]
    alike: list[tuple[int, int, str]] = []
    for channel in np.unique(seen.channels):
        groups = _groups(seen, int(channel))
        for rows in groups:
            _inside(seen, rows, ratios, whys, realness)
        for pair_of_ranges, pairs in _between(seen, groups, ratios).items():
            verdict, factor, why = _decide(seen, pairs, waves)
            alike.append((*pair_of_ranges, why))
            if verdict is Realness.HARDWARE:
                continue
            for row in np.flatnonzero((seen.channels == channel) & (seen.coarse == pair_of_ranges[1])):
                realness[row], whys[row] = verdict, why
                if verdict is Realness.ARITHMETIC:
                    ratios[row] *= factor
    parts = [Part(ratio=float(r), realness=c, why=w) for r, c, w in zip(ratios, realness, whys, strict=True)]
    return Parts(parts=tuple(_as_their_range(seen, parts)), alike=tuple(dict.fromkeys(alike)))


def _as_their_range(seen: Seen, parts: Sequence[Part]) -> list[Part]:
    """A setting that was not measured is what all others of its range are."""
    of_range: dict[int, list[Part]] = {}
    for part, coarse, known in zip(parts, seen.coarse, seen.measured, strict=True):
        if known:
            of_range.setdefault(int(coarse), []).append(part)
    found = list(parts)
    for row in np.flatnonzero(~seen.measured):
        others = of_range.get(int(seen.coarse[row]), [])
        if others and all((other.ratio, other.realness) == (others[0].ratio, others[0].realness) for other in others):
            found[row] = others[0]
    return found


def _combs(seen: Seen, waves: Waves) -> npt.NDArray[np.float64]:
    """Distance of the codes of each setting, in the least distance that the channel's records have."""
    grids = np.asarray([_grid(waves.get(setting)) for setting in seen.settings])
    found = np.ones(grids.size)
    for channel in np.unique(seen.channels):
        mine = seen.channels == channel
        known = grids[mine][grids[mine] > 0.0]
        if known.size:
            found[mine] = np.where(grids[mine] > 0.0, grids[mine] / known.min(), 1.0)
    return np.where(np.abs(found - np.rint(found)) < 1e-9, np.rint(found), 1.0)


def _grid(wave: waveform.Seen | None) -> float:
    return wave.grid if wave is not None and wave.plain else 0.0


def _groups(seen: Seen, channel: int) -> list[list[int]]:
    """Rows of a channel with the same word, least gain first."""
    if seen.bits.shape[1] == 0:
        return []
    groups: dict[bytes, list[int]] = {}
    words = seen.words()
    for row in np.flatnonzero((seen.channels == channel) & seen.measured):
        groups.setdefault(words[row], []).append(int(row))
    return [sorted(rows, key=lambda row: seen.logs[row]) for rows in groups.values() if len(rows) > 1]


def _inside(
    seen: Seen, rows: Sequence[int], ratios: npt.NDArray[np.float64], whys: list[str], realness: list[Realness]
) -> None:
    """Inside a range the same word means the same hardware."""
    by_range: dict[int, list[int]] = {}
    for row in rows:
        by_range.setdefault(seen.settings[row].coarse, []).append(row)
    for mine in by_range.values():
        least = min(seen.logs[row] - math.log(ratios[row]) for row in mine)
        for row in mine:
            more = float(seen.logs[row] - math.log(ratios[row]) - least)
            if more > max(SAME_RATIO, 6.0 * seen.u_ratio[row]):
                ratios[row] *= math.exp(more)
                realness[row] = Realness.ARITHMETIC
                whys[row] = f"×{math.exp(more):.4g} with the same word in the same range"


def _between(
    seen: Seen, groups: Sequence[Sequence[int]], ratios: npt.NDArray[np.float64]
) -> dict[tuple[int, int], list[_Pair]]:
    """Pairs of neighbouring ranges, by gain, that have words in common and different gains."""
    found: dict[tuple[int, int], list[_Pair]] = {}
    for rows in groups:
        for lower, upper in itertools.pairwise(rows):
            log = float(seen.logs[upper] - seen.logs[lower]) - math.log(ratios[upper] / ratios[lower])
            ranges = (seen.settings[lower].coarse, seen.settings[upper].coarse)
            if ranges[0] != ranges[1] and log > max(SAME_RATIO, 6.0 * seen.u_ratio[upper]):
                found.setdefault(ranges, []).append(_Pair(lower=lower, upper=upper, ratio=math.exp(log)))
    return found


def _decide(seen: Seen, pairs: Sequence[_Pair], waves: Waves) -> tuple[Realness, float, str]:
    """What tells two ranges with the same words apart, the arithmetic factor, and why."""
    ratio = math.exp(float(np.median([math.log(pair.ratio) for pair in pairs])))
    chosen = pairs[:: max(len(pairs) // PAIRS, 1)][:PAIRS]
    decisions = []
    for pair in chosen:
        a, b = (waves.get(seen.settings[row]) for row in (pair.lower, pair.upper))
        if a is not None and b is not None:
            tests = waveform.compare_records(a, b, ratio=pair.ratio)
            decisions.append(waveform.combine(tests, waveform.Words.NOT_CAPTURED, ratio=pair.ratio))
    said = [decision.realness for decision in decisions]
    arithmetic, hardware = said.count(Realness.ARITHMETIC), said.count(Realness.HARDWARE)
    text = f"×{ratio:.4g} with the same words"
    if arithmetic > hardware:
        why = next(decision.why for decision in decisions if decision.realness is Realness.ARITHMETIC)
        return Realness.ARITHMETIC, nice(ratio), f"{text}; {why}"
    if hardware > arithmetic:
        why = next(decision.why for decision in decisions if decision.realness is Realness.HARDWARE)
        return Realness.HARDWARE, 1.0, f"{text}, by something that no word shows: {why}"
    why = decisions[0].why if decisions else "no record to compare"
    return Realness.UNPROVEN, 1.0, f"{text}; hardware that no word shows, or arithmetic: {why}"


def unproven(parts: Sequence[Part]) -> tuple[Part, ...]:
    """The same parts where no record was seen at all: silence proves no hardware.

    Args:
        parts: of all settings.
    Returns:
        hardware as unproven, all else as it was.
    Source:
        none: a class without evidence is none.
    """
    return tuple(
        Part(ratio=part.ratio, realness=Realness.UNPROVEN, why="no record of it was seen")
        if part.realness is Realness.HARDWARE else part
        for part in parts
    )  # fmt: skip


def nice(ratio: float) -> float:
    """The simple factor that a measured one stands for.

    Args:
        ratio: measured, > 0.
    Returns:
        the nearest fraction with a denominator up to MOST_DENOMINATOR as near as NICE_RATIO; else the ratio.
    Source:
        arithmetic factors are chosen by people.
    """
    for below in range(1, MOST_DENOMINATOR + 1):
        near = max(round(ratio * below), 1) / below
        if abs(near / ratio - 1.0) < NICE_RATIO:
            return near
    return ratio
