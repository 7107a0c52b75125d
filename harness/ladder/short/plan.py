"""A short ladder from the fault dictionary, with what it covers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.diagnosis.view import Flags
from harness.errors import UsageError
from harness.ladder.short.exchange import covering, predicting
from harness.ladder.short.musts import Must, column, musts, named
from harness.ladder.short.prediction import model_of
from harness.ladder.short.shown import Entry, Key, entries
from harness.law import GainLaw

BY_UNIT = frozenset({"calibration-of-another-unit", "scale-row-wrong"})
"""Faults of tables that hold a row for each range or setting: of a whole table some row must be seen. A single wrong
row shows at its own setting alone, so no ladder but the whole one sees each: what audits are for."""
BY_ORDER = frozenset({"relay-settles-late", "settle-too-short", "slow-settling", "latch-one-frame-late"})
"""Faults that show where the walk comes from elsewhere: counted on the walk that was chosen, asked of no setting."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One fault over all places where it can sit."""

    fault: str
    entries: int
    least: int
    """Settings of a channel that show the entry which is hardest to see."""
    full: int
    """The same of the whole ladder."""
    short_of: tuple[str, ...]
    """Places of entries that too few settings show, although the whole ladder has enough."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortLadder:
    """Which settings, and what they cover."""

    fine: tuple[tuple[int, ...], ...]
    """Fine positions of each range, by coarse index."""
    shown: tuple[Shown, ...]
    musts: tuple[str, ...]
    """What the structure asked for, all of it met."""
    prediction_percent: float
    """Largest standard uncertainty of a predicted gain."""
    full_prediction_percent: float

    @property
    def settings(self) -> int:
        """Of a channel."""
        return sum(map(len, self.fine))


def shorten(
    law: GainLaw,
    *,
    detect: int,
    least_percent: float,
    most: int | None = None,
    catalogue: bool = True,
    coarse_steps: bool = False,
    also: Sequence[tuple[int, int]] = (),
) -> ShortLadder:
    """Few settings that show every fault of the dictionary, and predict the rest.

    Each fault at each place by `detect` settings where the whole ladder has as many, each relay in both states, each
    bit of the word both ways, both sides of the major carry, each range, both ends; then further settings until the
    law predicts each gain as well as a reading of its own, as far as `most` allows; then exchanges that make the
    largest uncertainty of a predicted gain as small as they can.

    Args:
        law: of the device.
        detect: settings that must show each fault, at least 1.
        least_percent: a reading shows a fault of fixed size that moves it by more.
        most: settings of a channel that further ones for the prediction may reach; demands go beyond it. None: all.
        coarse_steps: whether one fine position is asked for in every range: where nothing but the steps between ranges
            tells an error of their ratio, because no limit on residuals or parameters does.
        catalogue: whether faults are asked for at all, or only structure and prediction.
        also: settings that are visited in any case, coarse and fine index of each.
    Returns:
        the settings of one channel: all channels have the same law.
    Raises:
        UsageError: detect below 1, or a law with a single setting.
    """
    if detect < 1:
        raise UsageError(f"shorten: detect {detect}; allowed is 1 or more settings for each fault")
    everything = range(law.arithmetic_ratio.size)
    if len(everything) < 2:
        raise UsageError("shorten: the device has one setting; allowed are two or more: nothing can be left out")
    whole = entries(law, everything, least_percent=least_percent) if catalogue else ()
    model = model_of(law)
    structure = (*musts(law, detect=detect), *named(law, also))
    demands = [*structure, *_distinct(whole, detect)]
    # Either end of the fine positions holds one end of all gains.
    columns = [column(law, fine) for fine in (0, len(law.fine_names) - 1)] if coarse_steps else [()]
    most = len(everything) if most is None else most
    found = [predicting(covering([*demands, *more], model), [*demands, *more], model, most=most) for more in columns]
    chosen = min(found, key=len)
    structure = (*structure, *columns[found.index(chosen)])
    return ShortLadder(
        fine=_by_range(law, chosen),
        shown=_shown(whole, chosen, _walked(law, chosen, whole, least_percent), detect) if catalogue else (),
        musts=tuple(must.what for must in structure),
        prediction_percent=model.worst_percent(chosen),
        full_prediction_percent=model.worst_percent(everything),
    )


def _distinct(whole: Sequence[Entry], detect: int) -> list[Must]:
    """Demands of the dictionary, each set of settings once."""
    asked: dict[tuple[str, str | int, int], Flags] = {}
    for entry in whole:
        fault, what, number = entry.key
        if fault not in BY_ORDER:
            key = (fault, "", 0) if fault in BY_UNIT else (fault, what, number)
            asked[key] = entry.shows | asked.get(key, np.zeros_like(entry.shows))
    found = {
        shows.tobytes(): Must(what=f"{key[0]} {key[1]}", places=shows, least=min(detect, int(shows.sum())))
        for key, shows in asked.items()
    }
    return list(found.values())


def _walked(law: GainLaw, chosen: Sequence[int], whole: Sequence[Entry], least_percent: float) -> dict[Key, int]:
    """Settings that show each entry on a walk of these alone: what is late or slow depends on the neighbour."""
    peaks = {entry.key: entry.peak_percent for entry in whole}
    found = entries(law, chosen, least_percent=least_percent, peaks=peaks)
    return {entry.key: int(entry.shows.sum()) for entry in found}


def _shown(whole: Sequence[Entry], chosen: Sequence[int], walked: dict[Key, int], detect: int) -> tuple[Shown, ...]:
    by_fault: dict[str, list[Entry]] = {}
    for entry in whole:
        by_fault.setdefault(entry.key[0], []).append(entry)
    found = []
    for fault, rows in sorted(by_fault.items()):
        if fault in BY_UNIT:
            union = np.any([entry.shows for entry in rows], axis=0)
            counts = {"": (int(np.count_nonzero(union[list(chosen)])), int(union.sum()))}
        else:
            counts = {}
            for entry in rows:
                count = walked.get(entry.key, int(np.count_nonzero(entry.shows[list(chosen)])))
                there = int(entry.shows.sum())
                before = counts.get(entry.key[1], (count, there))
                counts[entry.key[1]] = (min(before[0], count), min(before[1], there))
        found.append(
            Shown(
                fault=fault,
                entries=len(rows),
                least=min(count for count, _ in counts.values()),
                full=min(there for _, there in counts.values()),
                short_of=tuple(what for what, (count, there) in counts.items() if count < min(detect, there)),
            )
        )
    return tuple(found)


def _by_range(law: GainLaw, chosen: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    fine = len(law.fine_names)
    return tuple(
        tuple(place % fine for place in chosen if place // fine == coarse) for coarse in range(len(law.coarse_names))
    )
