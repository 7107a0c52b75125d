"""The signal path: stages in a row, converter last; the gain is their product."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from harness.config import Corrections
from harness.law.corrections import Conditions, factor, position_factor
from harness.law.domain import narrowed, widened
from harness.law.stages import Arrays, CodeStage, Control, Controls, Floats, StageKind, Term, array_of


@dataclass(frozen=True, slots=True, kw_only=True)
class PathStage:
    """A stage in its place."""

    name: str
    law: StageKind
    corrections: Corrections
    tolerances: Mapping[str, float]
    """Half width by parameter, in the parameter's unit; `scale` for the stage as a whole, percent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StageGain:
    """One stage under given conditions."""

    stage: PathStage
    nominal_ratio: Term
    """Without corrections."""
    factor_ratio: Term
    """By what the corrections move it."""
    input_vpk: Term
    """Level at its input; 0 where no stage compresses."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalPath:
    """Stages from the input on, and the converter behind them; arithmetic stands last and is no gain of hardware."""

    stages: tuple[PathStage, ...]
    codes_per_v: float
    """Codes a volt at the converter."""
    span_codes: int
    conditions: Conditions
    """Under which gains are predicted where nothing else is said."""

    def hardware(self) -> tuple[PathStage, ...]:
        """Which stages make gain in hardware.

        Returns:
            all but arithmetic.
        """
        return tuple(stage for stage in self.stages if stage.law.domain != "arithmetic")

    def controls(self) -> dict[str, Control]:
        """Which controls the gain depends on.

        Returns:
            control by name, in order of the path; one that several stages share as the first of them has it.
        """
        found: dict[str, Control] = {}
        for stage in self.stages:
            for control in stage.law.needs():
                found.setdefault(control.name, control)
        return found

    def arrays(self, states: Sequence[Controls]) -> Arrays:
        """Many states' controls as arrays.

        Args:
            states: a value for each control of `controls()`.
        Returns:
            shape (n,) for each control.
        Raises:
            UsageError: a control is missing or has a value that it cannot take.
        """
        return {
            name: np.asarray([control.as_number(state.get(name)) for state in states], dtype=np.int64)
            for name, control in self.controls().items()
        }

    def stage_gains(self, arrays: Arrays, conditions: Conditions | None = None) -> tuple[StageGain, ...]:
        """What each stage of the hardware does, for many states at once.

        Args:
            arrays: a value for each control, all of one shape.
            conditions: None takes those of the device file.
        Returns:
            one entry per stage, input first.
        """
        under = conditions or self.conditions
        stages = self.hardware()
        nominal = [_nominal(stage.law, arrays) for stage in stages]
        level_vpk: Term = 0.0
        compresses = any(stage.corrections.compression_vpk is not None for stage in stages)
        found: list[StageGain] = []
        if compresses:
            level_vpk = under.fill_ratio * self.span_codes / self.codes_per_v / 2.0
        for stage, gain in zip(reversed(stages), reversed(nominal), strict=True):
            if compresses:
                level_vpk = level_vpk / np.where(np.asarray(gain) > 0.0, gain, np.inf)
            named = next((control for control in stage.law.needs() if control.named), None)
            part = factor(stage.corrections, gain, level_vpk, under)
            part = part * position_factor(stage.corrections, named, arrays)
            found.append(StageGain(stage=stage, nominal_ratio=gain, factor_ratio=part, input_vpk=level_vpk))
        return tuple(reversed(found))

    def gains_codes_per_v(self, arrays: Arrays, conditions: Conditions | None = None) -> Term:
        """Which gain the hardware has in many states, from the input to the code.

        Args:
            arrays: a value for each control, all of one shape.
            conditions: None takes those of the device file.
        Returns:
            codes a volt at the input, arithmetic excluded; 0 for a code without gain.
        """
        total: Term = self.codes_per_v
        for part in self.stage_gains(arrays, conditions):
            total = total * part.nominal_ratio * part.factor_ratio
        return total

    def gain_codes_per_v(self, controls: Controls) -> float:
        """Which gain the hardware has in one state.

        Args:
            controls: a value for each control of `controls()`.
        Returns:
            codes a volt at the input, arithmetic excluded.
        Raises:
            UsageError: a control is missing or has a value that its stage cannot take.
        """
        arrays = {name: array_of(control, controls) for name, control in self.controls().items()}
        return float(self.gains_codes_per_v(arrays))

    def arithmetic_ratio(self, controls: Controls) -> float:
        """By what the arithmetic stages multiply the codes in one state; UsageError as `gain_codes_per_v`."""
        return math.prod(stage.law.gain_ratio(controls) for stage in self.stages if stage.law.domain == "arithmetic")

    def energised(self, controls: Controls) -> frozenset[str]:
        """Which relays carry coil current; UsageError as `gain_codes_per_v`."""
        return frozenset().union(*(stage.law.energised(controls) for stage in self.stages))

    def code_stage(self, control: str) -> CodeStage | None:
        """The one stage that a code sets.

        Args:
            control: name of the code's control.
        Returns:
            the stage; None unless exactly one stage needs the control and its gain can be turned round into a code.
        """
        users = [stage.law for stage in self.stages if control in [need.name for need in stage.law.needs()]]
        return users[0] if len(users) == 1 and isinstance(users[0], CodeStage) else None

    def exact_codes(self, code: CodeStage, controls: Controls, wanted_codes_per_v: Floats) -> Floats:
        """At which codes, not rounded, the path would have gains, corrections left out: firmware does not know them.

        Args:
            code: the stage to be set, one of `stages`.
            controls: a value for every other control.
            wanted_codes_per_v: wanted gains, codes a volt at the input, > 0, shape (n,).
        Returns:
            codes, real numbers, legal or not, shape (n,); infinite where the rest of the path has no gain.
        Raises:
            UsageError: a control is missing or has a value that its stage cannot take.
        """
        others = math.prod(
            [stage.law.gain_ratio(controls) for stage in self.hardware() if stage.law is not code],
            start=self.codes_per_v,
        )
        if not others > 0.0:
            return np.full(wanted_codes_per_v.shape, np.inf)
        with np.errstate(all="ignore"):  # absurd files end as codes out of reach
            return code.exact_codes(wanted_codes_per_v / others)


def _nominal(law: StageKind, arrays: Arrays) -> Term:
    few, place = narrowed(law, arrays)
    return widened(law.gains_ratio(few), place)
