"""The [anchors] and [night] tables of a job: reference settings read again, and sweeps over corners, unattended."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from harness.config.model import Count, Finite, Name, NotNegative, Positive, Table


class AnchorSetting(Table):
    """One reference setting."""

    channel: int = Field(ge=1)
    coarse: Name
    """Name of a range."""
    fine: int = Field(ge=0)
    """0-based fine position."""


class Anchors(Table):
    """Reference settings that are read again and again: have bench and unit moved?"""

    setting: tuple[AnchorSetting, ...] = Field(min_length=1)
    every_rungs: Count | None = None
    """After so many rungs."""
    every_s: Positive | None = None
    """Or after so long, whichever comes first."""
    moved_percent: Positive = 1.0
    """An anchor that has moved by more since the first one stops the unit."""

    @model_validator(mode="after")
    def _when(self) -> Anchors:
        if self.every_rungs is None and self.every_s is None:
            raise ValueError("every_rungs or every_s, or both: when the anchors are read again")
        return self


class Corner(Table):
    """Conditions that hold while a unit is swept."""

    name: Name
    temperature_c: Annotated[float, Field(ge=-80.0, le=200.0)] | None = None
    """None: as it comes."""
    supply_v: Positive | None = None
    """None: as it comes."""


class Dwell(Table):
    """When a unit has settled in a corner; a temperature alone does not say so, its gain must rest too."""

    within_k: Positive = 1.0
    """The probe must be this close to the corner's temperature."""
    probe_k: Positive = 0.2
    """And move by less over `probe_s`."""
    probe_s: Positive = 300.0
    gain_percent: Positive = 0.05
    """And the gain of the first anchor, or of the ladder's first setting, by less over `gain_s`."""
    gain_s: Positive = 600.0
    look_s: Positive = 60.0
    """Between two looks."""
    longest_s: Positive = 5400.0
    """A unit that has not settled by then is swept all the same, and the journal says so."""


class Stops(Table):
    """What ends a corner, a unit, or the whole night before its time."""

    invalid_in_a_row: Count = 10
    """Stops the corner: the bench is not measuring."""
    over_k: Positive = 5.0
    """Probe above the warmest corner: stops everything."""
    supply_percent: Positive = 20.0
    """Current against the one first seen in the corner: stops the unit."""
    units_dead: Count = 2
    """So many units stopped: stops everything, for then it is not the units."""
    bench_lost: int = Field(default=3, ge=0)
    """So often for each unit a bench that was lost is opened again, a minute later; then everything stops."""
    least_free_mb: NotNegative = 1000.0
    """Less room than this: stops everything."""


class Night(Table):
    """Units, corners and cycles: each combination is one run; a unit walks all corners before the next is connected."""

    corner: tuple[Corner, ...] = Field(min_length=1)
    """In the order in which they are visited; one that is visited again shows drift and hysteresis."""
    units: tuple[Name, ...] = ()
    """Serial numbers; empty: the one of the command line."""
    cycles: Count = 1
    """Sweeps in each visit of a corner."""
    rest_c: Finite = 23.0
    """Where the chamber is left at the end, whatever ends it: a cold one that is switched off gathers water."""
    dwell: Dwell = Dwell()
    stop: Stops = Stops()

    @model_validator(mode="after")
    def _units_once(self) -> Night:
        if len(set(self.units)) != len(self.units):
            raise ValueError("each unit once")
        return self
