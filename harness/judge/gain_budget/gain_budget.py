"""The budgets of all settings of a run at once, asked for by setting."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from harness.judge.gain_budget.level import fixed_parts, level_of, level_series
from harness.judge.gain_budget.record import levels_vpk, record_series, repeat_series
from harness.judge.gain_budget.reduced import Reduced
from harness.judge.gain_budget.statement import COVERAGE_RATIO, Statement
from harness.judge.uncertainty import Combined, LadderBudget
from harness.judge.uncertainty.checked import Floats
from harness.values import Setting

TOGETHER = 64
"""Differences worked out at once: all of a long run would need a matrix of its square."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GainBudget:
    """How uncertain the gains of a run are; None for settings without a valid reading, and where nothing is stated."""

    ladder: LadderBudget | None = None
    items: tuple[Reduced, ...] = ()
    """As the readings of the ladder budget."""
    notes: tuple[str, ...] = ()
    places: Mapping[Setting, int] = field(default_factory=dict)
    gains: tuple[float, ...] = ()
    """Expanded uncertainty of the absolute gain, percent, by place."""
    owns: tuple[float, ...] = ()
    """The same without what is common to all readings."""
    standards: tuple[float, ...] = ()
    """Standard uncertainty without what is common to all readings, percent."""
    steps: Mapping[tuple[Setting, Setting], float] = field(default_factory=dict)
    """Expanded uncertainty of the steps that were asked for beforehand."""

    def gain_expanded_percent(self, setting: Setting) -> float | None:
        """Expanded uncertainty U of the absolute gain of a setting, k = 2."""
        return self._at(self.gains, setting)

    def own_expanded_percent(self, setting: Setting) -> float | None:
        """Expanded uncertainty of a setting without the common parts."""
        return self._at(self.owns, setting)

    def own_standard_percent(self, setting: Setting) -> float | None:
        """Standard uncertainty of a setting without the common parts: its weight in a fit."""
        return self._at(self.standards, setting)

    def step_expanded_percent(self, lower: Setting, upper: Setting) -> float | None:
        """Expanded uncertainty of the ratio of two settings: what both share cancels."""
        if (lower, upper) in self.steps:
            return self.steps[lower, upper]
        places = self.places.get(lower), self.places.get(upper)
        if self.ladder is None or places[0] is None or places[1] is None:
            return None
        step = self.ladder.steps([places[0]], [places[1]])
        return float(step.expanded_percent(probability_ratio=COVERAGE_RATIO)[0])

    def shared(self, settings: Sequence[Setting]) -> tuple[float, Floats] | None:
        """What the gains of some settings have in common, as LadderBudget.shared; None where one is not known."""
        places = self._places(settings)
        return self.ladder.shared(places) if self.ladder is not None and places is not None else None

    def sums(self, weights: Floats, settings: Sequence[Setting]) -> Combined | None:
        """Of weighted sums of gains, shape (m,); weights of shape (m, k), one a setting. None where one is unknown."""
        places = self._places(settings)
        return self.ladder.contrasts(weights, places) if self.ladder is not None and places is not None else None

    def match_expanded_percent(self, groups: Sequence[Sequence[Setting]]) -> tuple[float | None, ...]:
        """Expanded uncertainty of the gain of the first setting of each group against the mean of the others."""
        found: list[float | None] = []
        for first in range(0, len(groups), TOGETHER):
            some = [self._places(group) for group in groups[first : first + TOGETHER]]
            found += self._match_expanded_percent(some)
        return tuple(found)

    def _match_expanded_percent(self, groups: Sequence[list[int] | None]) -> list[float | None]:
        used = sorted({place for places in groups for place in places or ()})
        if self.ladder is None or not used:
            return [None] * len(groups)
        column = {place: index for index, place in enumerate(used)}
        weights = np.zeros((len(groups), len(used)))
        for row, places in zip(weights, groups, strict=True):
            if places is not None:
                row[[column[place] for place in places]] = [1.0, *[-1.0 / len(places[1:])] * len(places[1:])]
        known = self.ladder.contrasts(weights, used).expanded_percent(probability_ratio=COVERAGE_RATIO).tolist()
        return [None if places is None else u for u, places in zip(known, groups, strict=True)]

    def _places(self, settings: Sequence[Setting]) -> list[int] | None:
        places = [self.places.get(setting) for setting in settings]
        found = [place for place in places if place is not None]
        return found if len(found) == len(places) else None

    def _at(self, values: Sequence[float], setting: Setting) -> float | None:
        place = self.places.get(setting)
        return None if place is None else values[place]


NO_BUDGET = GainBudget()
"""Where no bench states anything: nothing is made up."""


def gain_budget(
    statement: Statement | None, items: Sequence[Reduced], *, pairs: Iterable[tuple[Setting, Setting]] = ()
) -> GainBudget:
    """How uncertain the gains of a run are.

    Args:
        statement: of bench and device; None where the bench states nothing.
        items: settings with a valid reading.
        pairs: lower and upper setting of steps that will be asked for: worked out at once here, one by one later.
    Returns:
        the budget; an empty one without a statement or without items.
    Raises:
        NotFinite: a stated number, a level or a fitted amplitude is out of bounds.
    Source:
        JCGM 100:2008, 5.1.2; contributions in judge.uncertainty; common and per-reading parts apart as in practice.
    """
    if statement is None or not items:
        return NO_BUDGET
    metered = all(item.metered for item in items)
    name, level = level_of(statement, metered=metered)
    repeats, note = repeat_series(items, statement.device.repeatability)
    series = (
        *level_series(level, name, levels_vpk(items)),
        *record_series(
            items,
            inl_code=statement.device.inl_lsb,
            compression_percent=statement.device.compression_percent,
            span_code=statement.span_code,
        ),
        *((repeats,) if repeats is not None else ()),
    )
    ladder = LadderBudget(fixed=fixed_parts(statement, metered=metered), series=series)
    places = {item.setting: place for place, item in enumerate(items)}
    own = ladder.independent()
    known = [pair for pair in dict.fromkeys(pairs) if pair[0] in places and pair[1] in places]
    lower, upper = [places[pair[0]] for pair in known], [places[pair[1]] for pair in known]
    steps = ladder.steps(lower, upper).expanded_percent(probability_ratio=COVERAGE_RATIO).tolist() if known else []
    unread = statement.bench.meter is not None and not metered
    doubt = "the meter was not read at every setting: the accuracy of the source counts" if unread else ""
    missing = "" if statement.device_states else "the device file states nothing of its own: no [uncertainty] there"
    return GainBudget(
        ladder=ladder,
        items=tuple(items),
        notes=tuple(filter(None, (note, missing, doubt))),
        places=places,
        gains=tuple(ladder.absolute().expanded_percent(probability_ratio=COVERAGE_RATIO).tolist()),
        owns=tuple(own.expanded_percent(probability_ratio=COVERAGE_RATIO).tolist()),
        standards=tuple(own.standard_percent.tolist()),
        steps=dict(zip(known, steps, strict=True)),
    )
