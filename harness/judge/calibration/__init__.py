"""Correction constants from a run, the error they leave at every fine step, and the points that would help most."""

from harness.judge.calibration.calibrate import Calibration, RangeLeft, calibrate
from harness.judge.calibration.constants import RangeConstant, range_constants
from harness.judge.calibration.extra import ExtraPoint, Sheet, extra_points
from harness.judge.calibration.left import Between, MeasuredLeft, PredictedLeft, measured_left, predicted_left
from harness.judge.calibration.points import CalibrationPoint, measured_points

__all__ = [
    "Between",
    "Calibration",
    "CalibrationPoint",
    "ExtraPoint",
    "MeasuredLeft",
    "PredictedLeft",
    "RangeConstant",
    "RangeLeft",
    "Sheet",
    "calibrate",
    "extra_points",
    "measured_left",
    "measured_points",
    "predicted_left",
    "range_constants",
]
