"""Correction constants of the coarse ranges, each from one fine position."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.errors import UsageError
from harness.judge.calibration.points import CalibrationPoint
from harness.law import GainLaw


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeConstant:
    """What corrects one range of one channel; relative to the constants that the device held during the run."""

    channel: int
    coarse: int
    name: str
    """Of the range."""
    full_scale_vpp: float
    """Nominal, at the first fine position."""
    fine: int
    """Position where it was measured."""
    gain_ratio: float
    """Measured gain over displayed gain: divide displayed volts by it."""
    u_percent: float
    """Standard uncertainty of the ratio."""
    own_u_percent: float
    """The same without what all readings of the run share."""
    offset_code: float
    """Code that stands for 0 V: take it off the codes."""
    u_offset_code: float
    """Its standard uncertainty."""
    displayed_v_per_code: float
    """Scale that the device displayed there during the run."""


def range_constants(points: Sequence[CalibrationPoint], law: GainLaw) -> tuple[RangeConstant, ...]:
    """Which constants correct the coarse ranges, each from its least sensitive fine position in the run.

    Args:
        points: of one unit.
        law: of the device, for names.
    Returns:
        one constant for each channel and range that was measured, in order.
    Raises:
        UsageError: no points.
    Source:
        usual strategy of two-stage gains, common practice, no source: the coarse ranges are calibrated, the fine stage
        is trusted. The ratio is the indication over the reference (JCGM 200:2012, 2.39, 2.53, from memory).
    """
    if not points:
        raise UsageError("no setting of the run was measured: nothing to calibrate; sweep again")
    first: dict[tuple[int, int], CalibrationPoint] = {}
    for point in sorted(points, key=lambda item: item.setting):
        first.setdefault((point.setting.channel, point.setting.coarse), point)
    return tuple(_constant(point, law) for point in first.values())


def _constant(point: CalibrationPoint, law: GainLaw) -> RangeConstant:
    setting = point.setting
    return RangeConstant(
        channel=setting.channel,
        coarse=setting.coarse,
        name=law.coarse_names[setting.coarse],
        full_scale_vpp=law.places[setting.coarse][0].full_scale_vpp,
        fine=setting.fine,
        gain_ratio=point.gain_ratio,
        u_percent=point.u_percent,
        own_u_percent=point.own_u_percent,
        offset_code=point.offset_code,
        u_offset_code=point.u_offset_code,
        displayed_v_per_code=point.displayed_v_per_code,
    )
