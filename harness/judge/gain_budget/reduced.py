"""What a budget must know of one setting's readings."""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.judge.rows import Gathered
from harness.values import Setting, State


@dataclass(frozen=True, slots=True, kw_only=True)
class Reduced:
    """One setting, its valid readings together."""

    setting: Setting
    group: str
    """Settings alike, for print: those of one range group."""
    range_name: str
    level_vpk: float
    """As the instrument knows it by whose accuracy it is known, V peak, > 0."""
    metered: bool
    """Whether that is the reference meter."""
    amplitude_code: float
    """Peak, in steps of the converter: what arithmetic added is divided out, > 0."""
    residual_code: float
    """rms residual of the fit, same steps."""
    samples: int
    """Of one record."""
    readings: int
    """Records averaged in the gain."""
    up_down_percent: float | None
    """100·ln(up/down); None unless both ways are valid."""


def reduced(
    item: Gathered, *, code_control: str, range_name: str, open_ratio: float, terminal_ratio: float
) -> Reduced | None:
    """What the budget must know of a setting.

    Args:
        item: the setting's readings.
        code_control: the control that holds the fine code: settings that differ in nothing else are one group.
        range_name: of the setting's range.
        open_ratio: level as the source knows its ranges, into an open circuit, over the level it is set to.
        terminal_ratio: level as a meter reads it over the level that the source is set to.
    Returns:
        geometric means over the valid readings, as the gain is; None without a valid reading.
    Source:
        none: a record; the step of the converter under arithmetic is the spacing of the codes.
    """
    measured = [(m, m.fit, m.quality) for m in item.valid if m.fit is not None and m.quality is not None]
    if not measured:
        return None
    state = item.prediction.state
    steps = [max(float(quality.code_spacing), state.arithmetic_ratio, 1.0) for _, _, quality in measured]
    pairs = list(zip(measured, steps, strict=True))
    count = len(measured)
    return Reduced(
        setting=item.prediction.setting,
        group=group_of(state, code_control),
        range_name=range_name,
        level_vpk=_mean([(terminal_ratio if m.metered else open_ratio) * m.drive_vpk for m, _, _ in measured]),
        metered=all(m.metered for m, _, _ in measured),
        amplitude_code=_mean([fit.amplitude_code / step for (_, fit, _), step in pairs]),
        residual_code=math.sqrt(sum((fit.noise_code / step) ** 2 for (_, fit, _), step in pairs) / count),
        samples=min(fit.samples for _, fit, _ in measured),
        readings=count,
        up_down_percent=item.up_down_percent(),
    )


def group_of(state: State, code_control: str) -> str:
    """Which range group a state belongs to.

    Args:
        state: of the setting.
        code_control: the control that holds the fine code.
    Returns:
        the other controls in words, and the arithmetic where there is any.
    Source:
        none: a name.
    """
    fixed = [f"{name} {value}" for name, value in state.controls if name != code_control]
    arithmetic = [] if state.arithmetic_ratio == 1.0 else [f"arithmetic ×{state.arithmetic_ratio:g}"]
    return ", ".join([*fixed, *arithmetic]) or "all ranges"


def _mean(values: list[float]) -> float:
    return math.exp(sum(map(math.log, values)) / len(values))
