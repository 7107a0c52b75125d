"""What a sweep needs to know beside the bench."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from harness.config import DeviceFile
from harness.sweep.averaging import AveragingPlan
from harness.values import Reading, Rung


@dataclass(frozen=True, slots=True, kw_only=True)
class AnchorPlan:
    """Which settings, and how often."""

    rungs: tuple[Rung, ...]
    every_rungs: int | None
    every_s: float | None
    moved_percent: float
    """One that has moved by more stops the unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepPlan:
    """The ladder and the rules for walking it."""

    rungs: tuple[Rung, ...]
    """Of the ladder."""
    device: DeviceFile
    fill_target: float
    fill_low: float
    fill_high: float
    retries: int
    """Further tries after a failed reading, each from source-off."""
    level_limit_vpk: float
    """The most the sweep may ask for; the driver's interlock stands behind it."""
    level_least_vpk: float
    input_ratio: float
    """Volts at the device's input per volt that the source is set to."""
    terminal_ratio: float
    """Volts at the source's terminals, where a meter hangs, per volt that the source is set to."""
    self_check_percent: float
    """How far all channels may be off together before the station is suspected."""
    alarm_vpk: float = math.inf
    """A meter that reads more stops the run; in volts that the source would be set to, as `level_limit_vpk`."""
    agreement_percent: float | None = None
    """How far source and reference meter may be apart by what both state; None without a meter or a statement."""
    factor_faults: Callable[[float], tuple[str, ...]] = lambda ratio: ("source-load-mis-set",)
    """Which faults of the station make one factor (measured over predicted) on everything, the likeliest first."""
    extras: tuple[Rung, ...] = ()
    """Readings beside the ladder, taken behind it."""
    anchors: AnchorPlan | None = None
    """None: no setting is read again."""
    averaging: AveragingPlan | None = None
    """None: one record is a reading."""
    overlap: bool = False
    """A sound reading is made durable and announced while the next record is taken, not before the next setting."""


Progress = Callable[[int, Reading], None]
"""Called after each rung with the number of rungs done and the last reading."""
