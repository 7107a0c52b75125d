"""The [production] table of a job: what must be so before a unit is measured on the line."""

from __future__ import annotations

from pydantic import Field, field_validator

from harness.config.model import Count, Name, NotNegative, Positive, Table


class Production(Table):
    """Production mode: a station that is not fit refuses."""

    golden_units: tuple[Name, ...] = Field(min_length=1)
    """Serial numbers of the golden units."""
    golden_hours: Positive = 12.0
    """The newest golden check may be so old."""
    golden_runs: int = Field(default=10, ge=3, le=100)
    """Golden checks that make the reference of a unit on a station."""
    equal_failures: int = Field(default=3, ge=2, le=100)
    """So many units in a row that fail at the same place lock the station."""
    attempts: Count = 3
    """Runs of a unit without a repair; then it is in quarantine."""
    least_free_mb: NotNegative = 1000.0
    """Room that the disk of the store must have."""
    simulated: bool = False
    """Whether a simulated bench is allowed, to try things out."""
    people: str = Field(default="", max_length=1000)
    """People file, relative to the job: who may do what; empty: everybody everything."""
    released: bool = False
    """Whether the files of the job must have been released for the station."""
    fixture_cycles: Count | None = None
    """Runs that a fixture may have; None: they are not counted."""

    @field_validator("golden_units")
    @classmethod
    def _once(cls, units: tuple[str, ...]) -> tuple[str, ...]:
        if len(set(units)) != len(units):
            raise ValueError("each serial number once")
        return units
