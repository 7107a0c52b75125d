"""The runs of a night, in order."""

from __future__ import annotations

from dataclasses import dataclass

from harness.config import Corner, Night


@dataclass(frozen=True, slots=True, kw_only=True)
class NightRun:
    """One sweep of one unit in one corner."""

    unit: str
    visit: int
    """0-based, over all units: the corner is set anew for each."""
    corner: Corner
    cycle: int
    """0-based, within the visit."""

    @property
    def key(self) -> tuple[int, int]:
        """What tells the runs of one night apart."""
        return (self.visit, self.cycle)


def night_runs(night: Night, units: tuple[str, ...]) -> tuple[NightRun, ...]:
    """Which runs a night has.

    Args:
        night: of the job.
        units: serial numbers, in the order in which they are connected.
    Returns:
        unit by unit, so that each is connected once; in each the corners as the job orders them, in each the cycles.
    """
    return tuple(
        NightRun(unit=unit, visit=number * len(night.corner) + place, corner=corner, cycle=cycle)
        for number, unit in enumerate(units)
        for place, corner in enumerate(night.corner)
        for cycle in range(night.cycles)
    )
