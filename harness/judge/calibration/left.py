"""The error left at every fine step once the coarse ranges are corrected: predicted by the law, measured by the run."""

from __future__ import annotations

import enum
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.judge.calibration.constants import RangeConstant
from harness.judge.calibration.points import CalibrationPoint
from harness.law import GainLaw, parts
from harness.values import Setting

Floats = npt.NDArray[np.float64]


class Between(enum.StrEnum):
    """What holds between calibrated fine positions."""

    LINEAR = "linear"
    """A straight line: right where the error runs smoothly."""
    HELD = "held"
    """The constant of the calibrated position below: right where it jumps, as at a pre-gain or a major carry."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedLeft:
    """What tolerances may leave at one fine position, alike in all channels."""

    coarse: int
    fine: int
    half_width_percent: float
    """Of 100·ln(true gain/corrected gain)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredLeft:
    """What the run shows to be left at one setting."""

    setting: Setting
    error_percent: float
    """100·ln(true gain/corrected gain); 0 where the constant was taken."""
    u_percent: float
    """Its standard uncertainty: what all readings share cancels."""
    offset_left_code: float
    """Offset less the range's constant, output codes."""


def tolerance_columns(law: GainLaw, coarse: int) -> Floats:
    """How far each tolerance may move each fine position of a range, direction included.

    Args:
        law: of the device.
        coarse: index of the range.
    Returns:
        percent of gain, shape (fine positions, k): one column for each parameter, and one for each position of a
        parameter that is drawn anew for every setting. What moves all settings alike is left out: a constant takes it.
    Source:
        first-order propagation (JCGM 100:2008, 5.1.3), see harness.law.parts.
    """
    count = len(law.fine_names)
    arrays = {name: array[coarse * count : (coarse + 1) * count] for name, array in law.grid.items()}
    columns = [np.zeros((count, 0))]
    for part in parts(law.path, arrays):
        column = np.broadcast_to(np.asarray(part.signed_percent, dtype=np.float64), (count,))
        if part.independent:
            columns.append(np.diag(column))
        elif not part.common:
            columns.append(column[:, np.newaxis])
    found = np.hstack(columns)
    return found[:, np.any(found != 0.0, axis=0)]


def remainder(errors: Floats, fines: Sequence[int], known: Sequence[int], between: Between = Between.LINEAR) -> Floats:
    """What is left of errors when they are corrected at some fine positions.

    Args:
        errors: shape (n, k).
        fines: fine position of each row, rising, shape (n,).
        known: rows where the error is known, rising, at least one.
        between: what corrects a position between two known ones.
    Returns:
        errors less the correction, which is constant beyond the outer known positions, shape (n, k).
    Source:
        interpolation, textbook; held against closed forms in tests/judge_calibration/.
    """
    if between is Between.HELD:
        below = np.maximum(np.searchsorted(np.asarray(known), np.arange(len(fines)), side="right") - 1, 0)
        return np.asarray(errors - errors[np.asarray(known)[below]])
    places, nodes = np.asarray(fines, dtype=np.float64), np.asarray(fines, dtype=np.float64)[list(known)]
    weights = np.column_stack([np.interp(places, nodes, unit) for unit in np.eye(len(known))])
    return np.asarray(errors - weights @ errors[list(known)])


def predicted_left(law: GainLaw, fine_by_coarse: Mapping[int, int]) -> tuple[PredictedLeft, ...]:
    """Which error a good unit may have left at every fine position, its ranges corrected at one of them.

    Args:
        law: of the device, with its tolerances.
        fine_by_coarse: by index of the range, the fine position where it is corrected.
    Returns:
        one entry for each fine position of these ranges, also those that no run visited; all 0 without tolerances.
    Source:
        difference of two first-order propagations with the correlation of shared parameters kept (JCGM 100:2008,
        5.2.2); half widths add as root sum of squares, as in harness.law. By hand in tests/judge_calibration/.
    """
    fines = range(len(law.fine_names))
    found: list[PredictedLeft] = []
    for coarse, fine in sorted(fine_by_coarse.items()):
        left = remainder(tolerance_columns(law, coarse), fines, (fine,))
        sizes = np.sqrt(np.sum(left**2, axis=1)).tolist()
        found += [PredictedLeft(coarse=coarse, fine=at, half_width_percent=size) for at, size in enumerate(sizes)]
    return tuple(found)


def measured_left(points: Sequence[CalibrationPoint], constants: Sequence[RangeConstant]) -> tuple[MeasuredLeft, ...]:
    """Which error the run shows to be left at every setting, its ranges corrected.

    Args:
        points: of one unit.
        constants: of the same.
    Returns:
        one entry for each point, in their order.
    Source:
        difference of logarithms; what is common to all readings cancels, the two own parts add (JCGM 100:2008, 5.1.2).
    """
    by_range = {(item.channel, item.coarse): item for item in constants}
    found: list[MeasuredLeft] = []
    for point in points:
        setting = point.setting
        constant = by_range[setting.channel, setting.coarse]
        same = setting.fine == constant.fine
        found.append(
            MeasuredLeft(
                setting=setting,
                error_percent=100.0 * math.log(point.gain_ratio / constant.gain_ratio),
                u_percent=0.0 if same else math.hypot(point.own_u_percent, constant.own_u_percent),
                offset_left_code=point.offset_code - constant.offset_code,
            )
        )
    return tuple(found)
