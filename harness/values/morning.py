"""What the line engineer wants to know in the morning."""

from __future__ import annotations

from dataclasses import dataclass

from harness.values.golden import GoldenLook
from harness.values.lot import LotResult
from harness.values.run import Certificate
from harness.values.station_check import StationCheck


@dataclass(frozen=True, slots=True, kw_only=True)
class MorningStation:
    """One station, as of its last run."""

    name: str
    locks: tuple[str, ...]
    """What would refuse a unit now; empty: it is up."""
    last_utc: str
    """When its last run began."""
    golden: tuple[GoldenLook, ...]
    """The last golden checks, oldest first."""
    look: StationCheck | None
    """Its last look at itself."""
    look_utc: str
    due: tuple[tuple[Certificate, int], ...]
    """Certificates that run out soon or have, with the days left."""
    fixture_runs: int
    fixture_cycles: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldUnit:
    """A unit that is not measured again before somebody has looked at it."""

    unit: str
    runs: int
    why: str
    since_utc: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MorningAction:
    """What somebody did in the shift, or was refused."""

    at_utc: str
    kind: str
    who: str
    about: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Morning:
    """A shift, and where things stand."""

    job: str
    begin_utc: str
    end_utc: str
    shift: LotResult | None
    """None: no unit was measured."""
    before: LotResult | None
    """The thirty days before it."""
    stations: tuple[MorningStation, ...]
    held: tuple[HeldUnit, ...]
    waiting: tuple[str, ...]
    """Records that are not at the server yet, results that are not handed on."""
    actions: tuple[MorningAction, ...]
    software: tuple[tuple[str, int], ...]
    """Versions in use, and attempts of the shift by each."""
    new: tuple[str, ...]
    """Versions of software and limits that the days before did not have."""
