"""What is known of a station before a unit is measured."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from harness.values import Certificate, Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class GoldenState:
    """The newest golden check on the station."""

    unit: str
    outcome: Outcome
    at: dt.datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class FailedAt:
    """How a run of a unit ended."""

    unit: str
    outcome: Outcome
    place: str
    """The first failing item and where; empty without a failure."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StationFacts:
    """Everything that the locks look at."""

    at: dt.datetime
    """When the run is about to begin."""
    newest_record: dt.datetime | None
    """When the newest line of the store was written."""
    simulated: bool
    simulated_allowed: bool
    certificates: Sequence[Certificate]
    free_mb: float | None
    """None: a server's, of which nothing is known."""
    least_free_mb: float
    golden: GoldenState | None
    golden_hours: float
    is_golden: bool
    """The run about to begin is a golden check: it is what lifts, so no golden lock keeps it out."""
    since_golden: Sequence[FailedAt]
    """Runs on the station since the last sound golden check, oldest first."""
    equal_failures: int
    unit_runs: Sequence[Outcome]
    """Earlier runs of the unit by this job since it was repaired, oldest first."""
    attempts: int
    unreleased: Sequence[str] = ()
    """Files of the job that were not released for the station; empty where none must be."""
    fixture_runs: int = 0
    """Runs on the station since its fixture was renewed."""
    fixture_cycles: int | None = None
    """So many it may have; None: they are not counted."""
