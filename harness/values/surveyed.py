"""What a device says of itself before anything is set."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyedConverter:
    """The converter behind the gain, as the device tells it."""

    bits: int
    low_code: int
    high_code: int
    codes_per_v: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyedInput:
    """What the input bears, as the device tells it."""

    impedance_ohm: float
    max_vpk: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Surveyed:
    """Everything that a device told of itself; None and empty where its profile has no question for it."""

    channels: int | None = None
    coarse: tuple[float | str, ...] = ()
    """What its command for the range may be told, in its own order."""
    fine: tuple[float, ...] = ()
    """What its command for the fine position may be told, in its own order."""
    coarse_is_scale: bool = False
    """Whether the command names a range by its full scale, V peak to peak."""
    fine_is_percent: bool = False
    """Whether the command names a fine position by its share of the full scale, percent; else by dB of gain."""
    converter: SurveyedConverter | None = None
    input: SurveyedInput | None = None
