"""The uncertainty of what is read beside the ladder: pairs of readings of one setting, and cross-talk."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.judge.gain_budget.level import level_of, level_series, stated_contribution
from harness.judge.gain_budget.record import levels_vpk, record_series, repeat_series
from harness.judge.gain_budget.reduced import Reduced
from harness.judge.gain_budget.statement import COVERAGE_RATIO, Statement
from harness.judge.uncertainty import (
    Contribution,
    LadderBudget,
    Series,
    Shape,
    combined,
    coverage_factor,
    effective_dof,
    noise_before_rounding_code,
    standard_ratio,
)

CIRCLE_FACTOR = math.sqrt(-2.0 * math.log(1.0 - COVERAGE_RATIO))
"""Radius that holds an error of unknown phase with the probability of k = 2: no amplitude is farther off than it."""
LARGEST_J1 = 0.5818652
"""Of the Bessel function of the first order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """A sine that a record without a signal of its own holds, in steps of the converter."""

    amplitude_code: float
    residual_code: float
    """rms."""
    samples: int
    driven_code: float
    """What it is a share of."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BesideBudget:
    """How uncertain the numbers of readings beside the ladder are; None where the bench states nothing of them."""

    statement: Statement | None
    ladder: tuple[Reduced, ...] = ()
    """Settings of the ladder: by their ways up and down they show how well a setting repeats."""

    def pair_expanded_percent(
        self, low: Reduced, high: Reduced, *, kept: bool, bent: bool = False, across: bool = False
    ) -> float | None:
        """Expanded uncertainty, k = 2, of the ratio of two gains of one setting.

        Args:
            low, high: the two readings.
            kept: whether nothing but the source moves in between: the setting then has no repeatability of its own.
            bent: whether compression is what is looked for, and so no doubt.
            across: whether they stand at two frequencies.
        Returns:
            percent; what both readings share cancels. None without a statement, and across frequencies where none is
            made of the level at the second one.
        Raises:
            NotFinite: a stated number, a level or a fitted amplitude is out of bounds.
        Source:
            JCGM 100:2008, 5.2.2 and F.1.2.3: a ratio of two readings with one instrument; LadderBudget.steps.
        """
        if self.statement is None:
            return None
        name, level = level_of(self.statement, metered=low.metered and high.metered)
        if across and level.second_frequency is None:
            return None
        items = (low, high)
        device = self.statement.device
        series = (
            *level_series(level, name, levels_vpk(items)),
            *record_series(
                items,
                inl_code=device.inl_lsb,
                compression_percent=0.0 if bent else device.compression_percent,
                span_code=self.statement.span_code,
            ),
            *(() if kept else self._repeats(items)),
        )
        step = LadderBudget(fixed=(), series=series).steps([0], [1])
        parts = [(float(step.standard_percent[0]), float(step.dof[0]))]
        if across and level.second_frequency is not None:
            stated = stated_contribution(f"{name}, second frequency", level.second_frequency, common=False)
            parts.append((stated.standard_percent, stated.dof))
        return _expanded(parts)

    def heard_expanded_percent(self, heard: Heard) -> float | None:
        """Expanded uncertainty, k = 2, of a share of another channel's amplitude.

        Args:
            heard: the sine and what it is a share of.
        Returns:
            percent of the driven amplitude; None where nothing is stated of that.
        Raises:
            NotFinite: a stated number or a residual is out of bounds.
        Source:
            fit noise as in `fit_noise`, of both quadratures: by the triangle inequality an amplitude is no farther off
            than its phasor; harmonics of the rounding error by their Bessel functions; JCGM 100:2008, 5.1.6 (a ratio).
        """
        if self.statement is None or self.statement.bench.aggressor is None:
            return None
        driven = stated_contribution("driven channel", self.statement.bench.aggressor, common=False)
        to_percent = 100.0 / heard.driven_code
        noise = float(noise_before_rounding_code(heard.residual_code))
        spread = math.sqrt(2.0 * (noise**2 + 1.0 / 12.0) / heard.samples) * CIRCLE_FACTOR / 2.0
        flat = standard_ratio(Shape.RECTANGULAR)
        return _expanded(
            [
                (to_percent * spread, math.inf),
                (to_percent * flat * _rounding_code(noise), math.inf),
                (to_percent * flat * self.statement.device.inl_lsb / 2.0, math.inf),
                (heard.amplitude_code * to_percent * driven.standard_percent / 100.0, driven.dof),
            ]
        )

    def _repeats(self, items: Sequence[Reduced]) -> tuple[Series, ...]:
        if self.statement is None:
            return ()
        whole, _ = repeat_series([*items, *self.ladder], self.statement.device.repeatability)
        if whole is None:
            return ()
        # Scatter that the run shows is one pooled estimate: two readings do not make it better known.
        known: Contribution = whole.at(0)
        values = whole.values_percent[: len(items)].copy()
        return (Series(name=whole.name, values_percent=values, shape=whole.shape, dof=known.dof),)


def _rounding_code(noise_code: float) -> float:
    """Most that rounding adds to a small sine: its harmonics at their largest, half a code step at most."""
    order = np.arange(1.0, 51.0)
    size = 2.0 / (math.pi * order) * LARGEST_J1 * np.exp(-2.0 * (math.pi * order * noise_code) ** 2)
    return min(float(np.sum(size)), 0.5)


def _expanded(parts: Sequence[tuple[float, float]]) -> float:
    standard, dof = [part[0] for part in parts], [part[1] for part in parts]
    factor = coverage_factor(effective_dof(standard, dof), probability_ratio=COVERAGE_RATIO)
    return float(factor * combined(standard))
