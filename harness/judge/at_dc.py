"""The gains at DC of a run: pairs of steady levels put together, with their budget."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from harness.amplitude import Flag, quiet_level
from harness.judge.extra_reading import NOT_READ, ExtraMeasured
from harness.judge.gain_budget import Statement, SteadyBudget, SteadyItem, steady_budget
from harness.judge.steady_reading import SteadyGain, steady_gain
from harness.law import GainLaw
from harness.values import Prediction, Purpose, Setting

LEAST_CODE = 1.0
"""Half the difference of two levels below this is no gain to state an uncertainty of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AtDc:
    """Gains at DC, by setting, in order of their readings."""

    gains: Mapping[Setting, SteadyGain | str] = field(default_factory=dict)
    """The reason, where there is none."""
    predictions: Mapping[Setting, Prediction] = field(default_factory=dict)
    budget: SteadyBudget = field(default_factory=SteadyBudget)
    expanded_percent: Mapping[Setting, float] = field(default_factory=dict)
    """U of each, k = 2; empty where nothing is stated."""

    @property
    def flags(self) -> dict[str, tuple[Flag, ...]]:
        """By place: levels that were quiet and not dithered."""
        found: dict[str, tuple[Flag, ...]] = {}
        for setting, gain in self.gains.items():
            flag = None if isinstance(gain, str) or gain.positions > 1 else quiet_level(gain.noise_code)
            if flag is not None:
                found[f"{self.predictions[setting].label} at DC"] = (flag,)
        return found


def at_dc(
    extras: Sequence[ExtraMeasured], *, law: GainLaw, statement: Statement | None, input_ratio: float
) -> AtDc:
    """The gains at DC of a run.

    Args:
        extras: every planned reading beside the ladder.
        law: for the names of the ranges.
        statement: what bench and device leave open about a gain; None makes no budget.
        input_ratio: volts at the device's input per volt that the source is set to.
    Returns:
        a gain, or the reason why there is none, for each setting that is planned at steady levels.
    Raises:
        NotFinite: a stated number is out of bounds.
    Source:
        steady_gain, steady_budget.
    """
    above = {one.rung.setting: one for one in extras if one.rung.purpose is Purpose.DC_PLUS}
    below = {one.rung.setting: one for one in extras if one.rung.purpose is Purpose.DC_MINUS}
    gains = {setting: _gain(one, below.get(setting), input_ratio) for setting, one in above.items()}
    items = [
        SteadyItem(
            setting=setting,
            range_name=law.coarse_names[setting.coarse],
            level_v=gain.level_v,
            amplitude_code=gain.amplitude_code,
            u_code=gain.u_code,
            bias_code=gain.bias_code,
            dithered=gain.positions > 1,
        )
        for setting, gain in gains.items()
        if not isinstance(gain, str) and gain.amplitude_code >= LEAST_CODE
    ]
    budget = steady_budget(statement, items)
    return AtDc(
        gains=gains,
        predictions={setting: one.rung.prediction for setting, one in above.items()},
        budget=budget,
        expanded_percent=budget.expanded_percent(),
    )


def _gain(above: ExtraMeasured, below: ExtraMeasured | None, input_ratio: float) -> SteadyGain | str:
    if below is None:
        return NOT_READ
    if above.steady is None or below.steady is None:
        return above.reason or below.reason
    return steady_gain(above.steady, below.steady, input_ratio=input_ratio)
