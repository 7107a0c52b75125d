"""What a lot of units came to."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A count of a count, with the interval of the true share."""

    events: int
    trials: int
    low_ratio: float
    """Bounds of 95 % confidence, 0 to 1; 0 and 1 without trials."""
    high_ratio: float

    @property
    def ratio(self) -> float | None:
        """None without trials."""
        return self.events / self.trials if self.trials else None


@dataclass(frozen=True, slots=True, kw_only=True)
class ParetoRow:
    """One reason, most frequent first."""

    name: str
    units: int
    """Units of which at least one attempt had it."""
    share_percent: float
    """Of all units."""
    examples: tuple[str, ...]
    """The first such units."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """One number over the first judged attempt of each unit, oldest first."""

    name: str
    unit: str
    count: int
    mean: float
    deviation: float
    low: float | None
    """Limits of the last unit."""
    high: float | None
    cpk: float | None
    """None without limits or spread."""
    cpk_interval: tuple[float, float] | None
    base: int
    """Units that give mean and deviation of the chart; 0 where there are too few for a chart."""
    excursions: int
    """Times that the weighted mean went outside its limits."""
    expected: float
    """The same by chance, of a process that does not move."""
    run_length: float
    """Mean units between two by chance."""
    zone_alarms: int
    """Alarms by the four rules of zones."""
    zone_expected: float
    zone_run_length: float
    weighted: tuple[float, ...]
    """Weighted mean to draw, every `every`-th unit; those outside are all looked at, not all drawn."""
    half: tuple[float, ...]
    """Half width of its limits there."""
    centre: float
    every: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """Time of the judged attempts, s."""

    count: int
    median_s: float
    ninety_s: float
    """Nine of ten take no longer."""
    longest_s: float
    takt_s: float | None
    over: int
    """Attempts that took longer than the takt."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsEffect:
    """What other limits would make of the stored units."""

    path: str
    first_pass: Share
    final: Share
    now_passing: tuple[str, ...]
    """Units whose final outcome becomes a pass."""
    now_not_passing: tuple[str, ...]
    undecided: tuple[str, ...]
    """Items that the summaries cannot decide; they count as they were."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LotResult:
    """Statistics of a lot."""

    job: str
    device: str
    first_utc: str
    last_utc: str
    runs: int
    units: int
    not_judged: int
    """Attempts that ended INVALID, or incomplete without a failure: no word about the unit."""
    never_judged: int
    """Units of which every attempt is such."""
    outcomes: tuple[tuple[str, int], ...]
    """Judged attempts by outcome."""
    attempts: tuple[tuple[int, int], ...]
    """Number of judged attempts, and units that have so many."""
    first_pass: Share
    final: Share
    """By the last attempt before any repair; more than three attempts are no pass."""
    retest_pass: Share
    """Passes behind an attempt that was none."""
    repaired: Share
    """Units that pass by the last attempt since they were repaired, of those that were and were judged then."""
    quarantine: int
    """Units with more than three judged attempts."""
    items: tuple[ParetoRow, ...]
    diagnoses: tuple[ParetoRow, ...]
    invalid: tuple[tuple[str, int, int], ...]
    """Cause, attempts, settings."""
    followed: tuple[Followed, ...]
    more_followed: int
    """Numbers for which there was no room."""
    times: Times | None
    limits: LimitsEffect | None
    versions: tuple[tuple[str, int], ...]
    """Hash of a limits file, and attempts judged by it."""
