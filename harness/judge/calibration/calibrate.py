"""All that a run says about calibrating its unit by coarse ranges alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.judge.calibration.constants import RangeConstant, range_constants
from harness.judge.calibration.extra import ExtraPoint, Sheet, extra_points
from harness.judge.calibration.left import (
    MeasuredLeft,
    PredictedLeft,
    measured_left,
    predicted_left,
    tolerance_columns,
)
from harness.judge.calibration.points import CalibrationPoint
from harness.law import GainLaw
from harness.values import Setting

FEW = 5
"""Further points that are named."""
TOLD_FACTOR = 2.0
"""Standard uncertainties from which an error is told from nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeLeft:
    """The worst error left in one range."""

    coarse: int
    predicted_percent: float | None
    """Largest half width over all fine positions; None without tolerances."""
    predicted_fine: int | None
    measured_percent: float
    """Largest in magnitude over channels and fine positions, with its sign."""
    measured_at: Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Constants, and what they leave."""

    points: tuple[CalibrationPoint, ...]
    constants: tuple[RangeConstant, ...]
    """By channel, then range."""
    predicted: tuple[PredictedLeft, ...]
    """Every fine position of every range in the run; empty without tolerances that differ between settings."""
    measured: tuple[MeasuredLeft, ...]
    """Every setting in the run."""
    worst: tuple[RangeLeft, ...]
    """By range."""
    extra_measured: tuple[ExtraPoint, ...]
    """Further points that would help this unit."""
    extra_predicted: tuple[ExtraPoint, ...]
    """Further points that would help any unit; empty without such tolerances."""


def calibrate(points: Sequence[CalibrationPoint], law: GainLaw, *, most_extra: int = FEW) -> Calibration:
    """Which constants correct a unit's coarse ranges, what they leave, and which further points would help.

    Args:
        points: of one unit.
        law: of its device.
        most_extra: further points wanted.
    Returns:
        all of it.
    Raises:
        UsageError: no points.
    Source:
        range_constants, predicted_left, measured_left, extra_points.
    """
    constants = range_constants(points, law)
    measured = measured_left(points, constants)
    fine_by_coarse = {item.coarse: item.fine for item in constants}
    columns = {coarse: tolerance_columns(law, coarse) for coarse in fine_by_coarse}
    toleranced = any(array.size for array in columns.values())
    predicted = predicted_left(law, fine_by_coarse) if toleranced else ()
    by_law = [
        Sheet(coarse=at, fines=tuple(range(len(law.fine_names))), errors_percent=columns[at], joint=True, first=fine)
        for at, fine in fine_by_coarse.items()
    ]
    return Calibration(
        points=tuple(points),
        constants=constants,
        predicted=predicted,
        measured=measured,
        worst=tuple(_worst(coarse, predicted, measured) for coarse in sorted(fine_by_coarse)),
        extra_measured=extra_points(_sheets(sorted(fine_by_coarse), measured), most=most_extra),
        extra_predicted=extra_points(by_law, most=most_extra),
    )


def _worst(coarse: int, predicted: Sequence[PredictedLeft], measured: Sequence[MeasuredLeft]) -> RangeLeft:
    widest = max(
        (item for item in predicted if item.coarse == coarse), key=lambda item: item.half_width_percent, default=None
    )
    largest = max(
        (item for item in measured if item.setting.coarse == coarse), key=lambda item: abs(item.error_percent)
    )  # fmt: skip
    return RangeLeft(
        coarse=coarse,
        predicted_percent=None if widest is None else widest.half_width_percent,
        predicted_fine=None if widest is None else widest.fine,
        measured_percent=largest.error_percent,
        measured_at=largest.setting,
    )


def _sheets(coarse: Sequence[int], measured: Sequence[MeasuredLeft]) -> list[Sheet]:
    """The errors that each range showed, at fine positions that every channel visited."""
    found: list[Sheet] = []
    for at in coarse:
        mine = [item for item in measured if item.setting.coarse == at]
        by_channel: dict[int, dict[int, float]] = {}
        for item in mine:
            by_channel.setdefault(item.setting.channel, {})[item.setting.fine] = item.error_percent
        fines = sorted(set.intersection(*(set(errors) for errors in by_channel.values())))
        if fines:
            errors = np.asarray([[errors[fine] for errors in by_channel.values()] for fine in fines], dtype=np.float64)
            floor = TOLD_FACTOR * max(item.u_percent for item in mine)
            found.append(
                Sheet(
                    coarse=at,
                    fines=tuple(fines),
                    errors_percent=errors,
                    joint=False,
                    first=0,
                    floor_percent=floor,
                )
            )
    return found
