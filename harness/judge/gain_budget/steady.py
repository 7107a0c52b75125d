"""The uncertainty of gains at DC: two steady levels instead of a sine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.config import LevelAccuracy
from harness.judge.gain_budget.level import level_series, parts_of, stated_contribution
from harness.judge.gain_budget.statement import COVERAGE_RATIO, Statement
from harness.judge.gain_budget.tables import printed
from harness.judge.uncertainty import Contribution, LadderBudget, Series, Shape, nonlinearity
from harness.ladder import open_ratio
from harness.values import BudgetTable, Setting

SOURCE = "source, steady"
COMPRESSION_RATIO = 4.0 / 3.0
"""Of what it takes from a steady level to what it takes from the fundamental of a sine with that peak: x - k·x³."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyItem:
    """What a budget must know of one gain at DC."""

    setting: Setting
    range_name: str
    level_v: float
    """Amount of both levels, as set, V, > 0."""
    amplitude_code: float
    """Half the difference of the two means, code steps, > 0."""
    u_code: float
    """Standard uncertainty of that difference by the scatter of the samples."""
    bias_code: float
    """Half width of what rounding leaves of each mean."""
    dithered: bool
    """Whether both levels were stepped over one code."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SteadyBudget:
    """How uncertain the gains at DC are; empty where nothing is stated or measured."""

    ladder: LadderBudget | None = None
    items: tuple[SteadyItem, ...] = ()
    notes: tuple[str, ...] = ()

    def expanded_percent(self) -> dict[Setting, float]:
        """Expanded uncertainty of each, k = 2, percent."""
        if self.ladder is None:
            return {}
        values = self.ladder.absolute().expanded_percent(probability_ratio=COVERAGE_RATIO).tolist()
        return {item.setting: value for item, value in zip(self.items, values, strict=True)}

    def tables(self) -> tuple[BudgetTable, ...]:
        """For print: the one of the worst setting, with dither and without apart."""
        if self.ladder is None:
            return ()
        found = []
        for dithered, name in ((False, "at DC, two steady levels"), (True, "at DC, two dithered levels")):
            places = [place for place, item in enumerate(self.items) if item.dithered is dithered]
            if places:
                ranges = ", ".join(dict.fromkeys(self.items[place].range_name for place in places))
                found.append(printed(f"{name} ({ranges})", self.ladder.at(self.ladder.worst(places)), self.notes))
        return tuple(found)


def steady_budget(statement: Statement | None, items: Sequence[SteadyItem]) -> SteadyBudget:
    """How uncertain gains by two steady levels are.

    Args:
        statement: of bench and device; None where the bench states nothing.
        items: n settings.
    Returns:
        the budget: what the source's steady levels leave open (its sines' accuracy where none is stated of them; a
        reference meter for sines reads none), scatter, quantisation, non-linearity, compression, repeatability. The
        difference of two means that rounding may each have moved by b has the triangular distribution of half width 2b.
    Raises:
        NotFinite: a stated number, a level or an amplitude is out of bounds.
    Source:
        JCGM 100:2008, 4.3.7, 4.3.9 (sum of two rectangular ones), 5.1.2.
    """
    if statement is None or not items:
        return SteadyBudget()
    level, device = _accuracy(statement), statement.device
    amplitude = np.array([item.amplitude_code for item in items])
    # As the source knows its ranges: into an open circuit.
    levels_v = np.array([item.level_v for item in items]) * open_ratio(statement.wiring)
    to_percent = 100.0 / (2.0 * amplitude)
    series = [
        *level_series(level, SOURCE, levels_v),
        Series(name="scatter", values_percent=to_percent * [item.u_code for item in items], shape=Shape.NORMAL),
        Series(
            name="quantisation",
            values_percent=to_percent * [2.0 * item.bias_code for item in items],
            shape=Shape.TRIANGULAR,
        ),
    ]
    if device.inl_lsb > 0.0:
        series.append(nonlinearity(amplitude, inl_code=device.inl_lsb))
    if device.compression_percent > 0.0:
        loss = COMPRESSION_RATIO * device.compression_percent * (2.0 * amplitude / statement.span_code) ** 2
        curve = np.zeros(len(items), dtype=np.int64)
        series.append(Series(name="compression", values_percent=loss, shape=Shape.RECTANGULAR, groups=curve))
    own: tuple[Contribution, ...] = ()
    if device.repeatability is not None:
        own = (stated_contribution("repeatability", device.repeatability, common=False),)
    assumed = "" if statement.bench.steady else "of the steady levels nothing is stated: as accurate as the sines"
    return SteadyBudget(
        ladder=LadderBudget(fixed=(*parts_of(statement, SOURCE, level), *own), series=tuple(series)),
        items=tuple(items),
        notes=(assumed,) if assumed else (),
    )


def _accuracy(statement: Statement) -> LevelAccuracy:
    """Of the steady levels; a flatness is about frequencies."""
    return (statement.bench.steady or statement.bench.source).model_copy(update={"flatness": None})
