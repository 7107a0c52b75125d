"""From the readings beside the ladder to what they tell of hardware or arithmetic, channel by channel."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from harness.config import DeviceFile
from harness.judge.extra_reading import ExtraMeasured
from harness.judge.waveform import Beside, ExactStep, Overdriven
from harness.values import Prediction, Purpose, Setting

LEAST_U_PERCENT = 0.001
"""Scatter of fewer rounds than this shows may be chance."""

Gains = dict[tuple[Setting, float], list[float]]
"""Logarithms of the gains in percent, by setting and level."""


def beside_of(extras: Sequence[ExtraMeasured], device: DeviceFile) -> dict[int, Beside]:
    """What the readings beside the ladder tell of each channel.

    Args:
        extras: all that were planned, in order; those that are missing say so.
        device: for coupling and for what a record can hold.
    Returns:
        by channel; a channel without any planned reading is not among them.
    Source:
        see Beside.
    """
    channels: dict[int, list[ExtraMeasured]] = {}
    for extra in extras:
        channels.setdefault(extra.rung.setting.channel, []).append(extra)
    return {channel: _channel(members, device) for channel, members in channels.items()}


def _channel(extras: Sequence[ExtraMeasured], device: DeviceFile) -> Beside:
    by_purpose: dict[Purpose, list[ExtraMeasured]] = {}
    for extra in extras:
        by_purpose.setdefault(extra.rung.purpose, []).append(extra)
    over, exact = by_purpose.get(Purpose.OVERDRIVEN), by_purpose.get(Purpose.EXACT)
    quiet = by_purpose.get(Purpose.OFFSET)
    return Beside(
        overdriven=None if over is None else {extra.rung.setting: _end(extra) for extra in over},
        exact=None if exact is None else exact_steps_of(exact),
        offsets_code=None if quiet is None else _offsets(quiet),
        beyond_screen=device.converter.beyond_screen,
        coupling=device.input.coupling,
    )


def _end(extra: ExtraMeasured) -> Overdriven | str:
    return extra.overdriven or extra.reason or "no overdriven record"


def _offsets(quiet: Sequence[ExtraMeasured]) -> Mapping[Setting, tuple[float, ...]]:
    """In order of the rounds; a missing reading keeps its place, so that pairs stay pairs."""
    found: dict[Setting, list[float]] = {}
    for extra in quiet:
        value = math.nan if extra.offset_code is None else extra.offset_code
        found.setdefault(extra.rung.setting, []).append(value)
    return {setting: tuple(values) for setting, values in found.items()}


def exact_steps_of(extras: Sequence[ExtraMeasured]) -> tuple[ExactStep, ...]:
    """How far steps are from their names, from rounds of readings of two settings at one level.

    Both sides saw the same level, so what the source is off by cancels; and arithmetic on the same codes has the same
    noise and the same bends of the converter on both sides. What is left is the scatter of the rounds, pooled over the
    channel.

    Args:
        extras: of one channel, in order; those without numbers are left out.
    Returns:
        each pair that was planned and read on both sides, by name the less sensitive setting first.
    Source:
        standard deviation pooled over groups, of a mean s/√n (common practice, no source).
    """
    predictions: dict[Setting, Prediction] = {}
    gains: Gains = {}
    for extra in extras:
        predictions[extra.rung.setting] = extra.rung.prediction
        if extra.gain_codes_per_v is not None:
            place = (extra.rung.setting, extra.rung.drive_vpk)
            gains.setdefault(place, []).append(100.0 * math.log(extra.gain_codes_per_v))
    scatter = _pooled(gains)
    if scatter is None:
        return ()
    found: list[ExactStep] = []
    for lower, upper, drive_vpk in _pairs(gains, predictions):
        below, above = gains[lower, drive_vpk], gains[upper, drive_vpk]
        named = math.log(predictions[lower].full_scale_vpp / predictions[upper].full_scale_vpp)
        measured_percent = float(np.mean(above)) - float(np.mean(below))
        found.append(
            ExactStep(
                lower=lower,
                upper=upper,
                residual_percent=measured_percent - 100.0 * named,
                u_percent=scatter * math.sqrt(1.0 / len(below) + 1.0 / len(above)),
            )
        )
    return tuple(found)


def _pairs(gains: Gains, predictions: Mapping[Setting, Prediction]) -> list[tuple[Setting, Setting, float]]:
    """Settings that were read at one level: the most sensitive of them against each other one."""
    levels: dict[float, list[Setting]] = {}
    for setting, drive_vpk in gains:
        levels.setdefault(drive_vpk, []).append(setting)
    found = []
    for drive_vpk, settings in levels.items():
        least_vpp = min(predictions[setting].full_scale_vpp for setting in settings)
        own = [s for s in settings if math.isclose(predictions[s].full_scale_vpp, least_vpp)]
        found += [(lower, upper, drive_vpk) for upper in own for lower in settings if lower not in own]
    return found


def _pooled(gains: Gains) -> float | None:
    """Standard deviation within the groups, percent; None where no group was read twice."""
    groups = [values for values in gains.values() if len(values) > 1]
    freedom = sum(len(values) - 1 for values in groups)
    if freedom == 0:
        return None
    total = sum(float(np.var(values)) * len(values) for values in groups)
    return max(math.sqrt(total / freedom), LEAST_U_PERCENT)
