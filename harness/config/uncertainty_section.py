"""The [uncertainty] tables: what bench and device leave open about a gain, as data sheets and certificates state it."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, model_validator

from harness.config.model import Finite, NotNegative, Positive, Table

Dof = Annotated[float, Field(ge=1.0, allow_inf_nan=False)]


class Stated(Table):
    """One limit of error, or the expanded uncertainty of a certificate."""

    percent: NotNegative
    """Half width of a bounded distribution; of a normal one the expanded uncertainty."""
    distribution: Literal["rectangular", "triangular", "arcsine", "normal"] = "rectangular"
    factor: Positive | None = None
    """Coverage factor of an expanded uncertainty; 2 where a normal one states none."""
    dof: Dof | None = None
    """Degrees of freedom behind it; none: taken as exact."""

    @model_validator(mode="after")
    def _factor_of_normal(self) -> Stated:
        if self.factor is not None and self.distribution != "normal":
            raise ValueError(f'factor with distribution = "normal" only, not with "{self.distribution}"')
        return self


class RangeStated(Stated):
    """The part of an accuracy that each range of an instrument has for itself."""

    of: Literal["level", "full-scale"] = "level"
    """What the percentage is of: the level itself, or the end of the range it lies in."""


class LevelAccuracy(Table):
    """What is known of the levels of an instrument."""

    reading: Stated
    """Part that is the same in all ranges."""
    range: RangeStated | None = None
    """Part that all levels in one range have in common."""
    range_ends_vpk: tuple[Positive, ...] = ()
    """Where ranges end, rising; a level at an end belongs to the range below, all above the last to one more."""
    absolute_v: NotNegative = 0.0
    """Limit of an error in volts peak, whatever the level; one for each range."""
    digits: int | None = Field(default=None, ge=2, le=9)
    """Significant digits of the level, where the last digit leaves it open."""
    flatness: Stated | None = None
    """Level at the test frequency against that at the frequency where it was calibrated."""
    second_frequency: Stated | None = None
    """Level at the second frequency of a job against that at the test frequency."""

    @model_validator(mode="after")
    def _ends(self) -> LevelAccuracy:
        ends = self.range_ends_vpk
        if any(later <= earlier for earlier, later in pairwise(ends)):
            raise ValueError("range_ends_vpk that rise")
        if self.range is not None and not ends:
            raise ValueError("range_ends_vpk with range: they say which levels share its error")
        return self


class PadStated(Table):
    """The calibration of a pad."""

    db: NotNegative
    """Expanded uncertainty of its loss."""
    factor: Positive = 2.0
    """Coverage factor of its certificate."""
    dof: Dof | None = None


class LoadingStated(Table):
    """How well the divider of source and load is known."""

    load_percent: NotNegative
    """Half width of wiring.load_ohm."""
    source_percent: NotNegative = 0.0
    """Half width of wiring.source_ohm."""


class BenchUncertainty(Table):
    """What a bench leaves open about the level at the device's input."""

    source: LevelAccuracy
    steady: LevelAccuracy | None = None
    """Of the source's steady levels, V by amount; None: as of its sines."""
    meter: LevelAccuracy | None = None
    """Of the reference meter: it takes the place of the source's own."""
    aggressor: Stated | None = None
    """Amplitude that the second source makes in its own channel: its level and the gain of that channel."""
    pad: PadStated | None = None
    loading: LoadingStated | None = None
    """None: the divider is known well enough."""
    temperature_k: NotNegative = 0.0
    """How far the device's temperature may be from the one its gains hold for."""


class DeviceUncertainty(Table):
    """What a device leaves open about its own gain."""

    inl_lsb: NotNegative = 0.0
    """Largest departure of the converter from a straight line."""
    compression_percent: NotNegative = 0.0
    """Most that the gain is off at full scale against small signals; it grows with the square of the level."""
    temperature_ppm_per_k: Finite = 0.0
    """Temperature coefficient of the gain, the largest of all settings."""
    repeatability: Stated | None = None
    """What a setting repeats to at best, when it is left and set again; more is taken where a run shows more."""
