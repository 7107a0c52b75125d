"""A rung of the ladder: a setting with what is predicted for it."""

from __future__ import annotations

from dataclasses import dataclass

from harness.values.purpose import Purpose
from harness.values.reading import Direction
from harness.values.setting import Setting, State


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What the law says of one setting."""

    setting: Setting
    state: State
    label: str
    """For people, such as `ch2 50 mV 70 %`."""
    full_scale_vpp: float
    """Nominal full scale of the setting."""
    gain_codes_per_v: float
    """Output codes a volt at the device's input, arithmetic included, > 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Aggressor:
    """What another source does meanwhile on a channel of its own."""

    prediction: Prediction
    """The setting of that channel."""
    drive_vpk: float
    """Level at that source's terminals for the load it is told, V peak."""
    frequency_hz: float
    amplitude_code: float
    """Predicted amplitude of that channel's own record, codes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyPlan:
    """A steady level instead of a sine."""

    level_v: float
    """At the source's terminals for the load it is told, of either sign."""
    dither_v: tuple[float, ...] = ()
    """Levels spread over one code around it, rising; empty where the source cannot step so finely."""
    always: bool = False
    """Whether the dither is taken whatever the noise; else where the record of the level itself is quiet."""

    @property
    def kept_records(self) -> int:
        """Records that it may leave: the level's own, or one at each position."""
        return max(len(self.dither_v), 1)

    @property
    def least_records(self) -> int:
        """Records that it takes where the level is not quiet."""
        return self.kept_records if self.always else 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One planned reading."""

    index: int
    """0-based position in the ladder."""
    direction: Direction
    prediction: Prediction
    drive_vpk: float
    """Planned level at the source's terminals for the load it is told, V peak."""
    fill_ratio: float
    """Predicted signal span over converter span."""
    relay_toggles: int
    """Relays that change on the way to this rung."""
    purpose: Purpose = Purpose.LADDER
    """Readings for another purpose are taken once, at the planned level, and never re-levelled."""
    frequency_hz: float = 0.0
    """Of the source; 0 for the device file's test frequency."""
    via: Setting | None = None
    """Visited on the way with the source off, so that relays move."""
    aggressor: Aggressor | None = None
    steady: SteadyPlan | None = None
    """None for a sine; `drive_vpk` is its amount then."""

    @property
    def setting(self) -> Setting:
        """The setting of the rung."""
        return self.prediction.setting
