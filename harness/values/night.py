"""What a night came to: all that its page shows."""

from __future__ import annotations

from dataclasses import dataclass

from harness.values.judgement import Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class NightRunRow:
    """One run of a night."""

    run_id: str
    unit: str
    visit: int
    corner: str
    cycle: int
    end: str
    """finished, interrupted, stopped; empty after a death."""
    verdict: Outcome
    worst_ratio: float | None
    """Largest residual of a setting over its limit, signed by the residual; None without a limit or a reading."""
    worst_label: str
    probe_c: float | None
    """Mean over the run, dwell left out."""
    supply_v: float | None
    settled: bool
    """False when the time to settle ran out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NightFailure:
    """One setting of one unit that failed."""

    unit: str
    label: str
    corners: tuple[str, ...]
    count: int
    reason: str
    worst_percent: float | None
    new: bool
    """Not among the failures of the night before."""
    course: tuple[tuple[float, float, bool], ...] = ()
    """Hours since the night began, residual in percent, whether it failed: one for each run that measured it."""
    limit_percent: tuple[float | None, float | None] = (None, None)
    """Low and high limit of the residual; None where there is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NightSeries:
    """Something over the time of the night."""

    unit: str
    name: str
    """An anchor's label; probe_c, air_c, supply_v or supply_a."""
    points: tuple[tuple[float, float], ...]
    """Hours since the night began, and the value: percent against the first for an anchor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NightScatter:
    """How well the gain of one unit repeats, standard deviations in percent; None where nothing tells it."""

    unit: str
    repeat_percent: float | None
    """Read again with nothing moved in between."""
    toggle_percent: float | None
    """What moving relays adds."""
    order_percent: float | None
    """What coming from above or from below adds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NightCoefficient:
    """How a fitted parameter follows the temperature."""

    unit: str
    channel: int
    parameter: str
    ppm_per_k: float
    u_ppm_per_k: float
    """Standard uncertainty."""
    runs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NightResult:
    """A whole night."""

    night_id: str
    began_utc: str
    ended_utc: str
    planned: int
    finished: int
    verdict: Outcome
    why: tuple[str, ...]
    """Why it is not whole; empty when it is."""
    units: tuple[str, ...]
    corners: tuple[str, ...]
    """By visit, in the order of the first unit."""
    runs: tuple[NightRunRow, ...]
    failures: tuple[NightFailure, ...]
    anchors: tuple[NightSeries, ...]
    strips: tuple[NightSeries, ...]
    scatter: tuple[NightScatter, ...]
    coefficients: tuple[NightCoefficient, ...]
    words: int
    """Control words that were captured and judged."""
    wrong_words: int
    word_error_bound_ratio: float | None
    """Upper bound of the share of wrong words, confidence 95 %; None without words."""
    readings: int
    toggles: tuple[tuple[str, str, int, float | None], ...]
    """Unit, relay, toggles over all its runs, stated life (None where none is stated)."""
    invalid: tuple[tuple[str, int], ...]
    """Cause and how often, the most frequent first."""
    before_id: str
    """The night that this one is compared with; empty where there is none."""
    against: tuple[str, ...]
    """What is different from it, for people; empty: the same."""
