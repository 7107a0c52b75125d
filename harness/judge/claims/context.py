"""What the claims share: the run's readings, reduced, and everything worked out from them once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from harness.config import DeviceFile, LimitItem
from harness.judge.at_dc import AtDc
from harness.judge.extra_reading import ExtraMeasured
from harness.judge.gain_budget import BesideBudget
from harness.judge.limit_set import LimitSet
from harness.judge.realness import Evidence, Found
from harness.judge.rows import Gathered
from harness.judge.steps import Step
from harness.judge.waveform import PooledCodes
from harness.law import GainLaw, frequency_ratio
from harness.values import (
    BudgetTable,
    BusRecord,
    Event,
    FlagNote,
    ParameterResult,
    Prediction,
    Purpose,
    RealnessEvidence,
    Setting,
)


class Uncertainty(Protocol):
    """Expanded uncertainties of a run's gains, k = 2, percent; None where none is stated."""

    def gain_expanded_percent(self, setting: Setting) -> float | None:
        """Of the absolute gain."""
        ...

    def own_expanded_percent(self, setting: Setting) -> float | None:
        """Without what is common to all settings."""
        ...

    def step_expanded_percent(self, lower: Setting, upper: Setting) -> float | None:
        """Of the ratio of two gains."""
        ...

    def match_expanded_percent(self, groups: Sequence[Sequence[Setting]]) -> Sequence[float | None]:
        """Of the gain of the first setting of each group against the mean of the others."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """A run, as the claims see it."""

    law: GainLaw
    device: DeviceFile
    limits: LimitSet
    captured: bool
    """Whether the run captures control words."""
    gathered: Mapping[Setting, Gathered]
    """Every planned setting, in order of the ladder."""
    found: Mapping[Setting, Found] = field(default_factory=dict)
    """What each setting turned out to be."""
    grounds: Mapping[Setting, RealnessEvidence] = field(default_factory=dict)
    """What words and waveform each say of it."""
    evidence: Mapping[Setting, Evidence] = field(default_factory=dict)
    steps: Sequence[Step] = ()
    """Steps with both sides measured, fine ones first."""
    fitted_percent: Mapping[Setting, float] = field(default_factory=dict)
    """Residual to the fitted law of each setting that took part in a fit."""
    fitted_expanded_percent: Mapping[Setting, float] = field(default_factory=dict)
    """U of these residuals, k = 2; none where nothing is stated."""
    pooled: Mapping[int, PooledCodes] = field(default_factory=dict)
    """Codes of all hardware settings together, by channel."""
    parameters: Sequence[ParameterResult] = ()
    bus: Sequence[BusRecord] = ()
    """Distances on the control bus, by channel; empty without captures."""
    extras: Sequence[ExtraMeasured] = ()
    """Every planned reading beside the ladder, in order; those that are missing say so."""
    at_dc: AtDc = field(default_factory=AtDc)
    """Gains by steady levels."""
    events: Sequence[Event] = ()
    """The run's journal."""
    uncertainty: Uncertainty | None = None
    """None where no budget is stated."""
    beside: BesideBudget | None = None
    """Of what is read beside the ladder."""
    budgets: Sequence[BudgetTable] = ()
    """Of each range group, for print."""
    flags: Sequence[FlagNote] = ()
    """What is remarkable about readings, each kind once."""

    def limit(self, item: str, setting: Setting) -> LimitItem | None:
        """The row of an item that holds at a setting, of a step at its upper one; None where nothing is required."""
        return self.limits.at(item, setting)

    def frequency_ratio(self, prediction: Prediction, frequency_hz: float) -> float:
        """Predicted gain at another frequency over that at the test frequency."""
        controls = dict(prediction.state.controls)
        return frequency_ratio(self.law, self.device.response, controls, frequency_hz=frequency_hz)

    def taken(self, *purposes: Purpose) -> dict[Setting, list[ExtraMeasured]]:
        """The planned readings for some purposes, by setting."""
        found: dict[Setting, list[ExtraMeasured]] = {}
        for extra in self.extras:
            if extra.rung.purpose in purposes:
                found.setdefault(extra.rung.setting, []).append(extra)
        return found

    def pair_expanded_percent(
        self, low: ExtraMeasured, high: ExtraMeasured, *, bent: bool = False, across: bool = False
    ) -> float | None:
        """U of the ratio of the gains of two readings of a setting; None where none is stated."""
        if self.beside is None or low.reduced is None or high.reduced is None:
            return None
        kept = abs(high.rung.index - low.rung.index) == 1
        return self.beside.pair_expanded_percent(low.reduced, high.reduced, kept=kept, bent=bent, across=across)

    def requires(self, item: str) -> bool:
        """Whether the limits file holds an item at all; parameters stand there by name."""
        return any(name == item or name.startswith(f"{item} ") for name in self.limits)
