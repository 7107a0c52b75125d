"""Which numbers of a golden unit are charted: few, for each chart has false alarms of its own."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.values import GoldenNumber, RunResult, SettingResult

FACTOR = "factor "
"""Begins the name of the number that all settings of a range share."""
NOISE = "noise "


def golden_numbers(result: RunResult) -> tuple[GoldenNumber, ...]:
    """What is charted of a run of a golden unit, each number the mean over the channels.

    Args:
        result: of the run.
    Returns:
        fitted parameters that the ladder can tell, the common factor of each range, the noise of the least and of the
        most sensitive range that is hardware; nothing of what was not measured.
    Source:
        practice: few numbers that the station moves; check standards, NIST/SEMATECH e-Handbook, chapter 2.2.
    """
    found: list[GoldenNumber] = []
    for name in dict.fromkeys(row.name for row in result.parameters):
        rows = [row for row in result.parameters if row.name == name]
        if all(row.identifiable for row in rows):
            found.append(_number(name, [row.deviation_percent for row in rows]))
    ranges = dict.fromkeys(row.setting.coarse for row in result.settings)
    for coarse in ranges:
        residuals = [row.residual_percent for row in _of_range(result, coarse) if row.residual_percent is not None]
        if residuals:
            found.append(_number(FACTOR + result.coarse_names[coarse], residuals))
    hardware = [coarse for coarse in ranges if coarse not in result.declared_arithmetic]
    ends = dict.fromkeys(
        pick(hardware, key=lambda coarse: _of_range(result, coarse)[0].predicted_codes_per_v)
        for pick in (min, max)
        if hardware
    )
    for coarse in ends:
        noises = [row.noise_code for row in _of_range(result, coarse) if row.noise_code]
        if noises:
            found.append(_number(NOISE + result.coarse_names[coarse], [100.0 * math.log(n) for n in noises]))
    return tuple(found)


def common_percent(numbers: Sequence[GoldenNumber], targets: Sequence[float] = ()) -> float | None:
    """What all ranges share.

    Args:
        numbers: of a run.
        targets: percent, of each number; empty for the law itself.
    Returns:
        mean of the factors of the ranges against the targets, percent; None without a measured range.
    Source:
        mean.
    """
    against = targets or [0.0] * len(numbers)
    shifts = [n.percent - target for n, target in zip(numbers, against, strict=True) if n.name.startswith(FACTOR)]
    return sum(shifts) / len(shifts) if shifts else None


def _of_range(result: RunResult, coarse: int) -> list[SettingResult]:
    return [row for row in result.settings if row.setting.coarse == coarse]


def _number(name: str, values: Sequence[float]) -> GoldenNumber:
    return GoldenNumber(name=name, percent=sum(values) / len(values))
