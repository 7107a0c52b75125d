"""What a run's page shows beside its result: single records looked at closely, and courses over its time."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeCounts:
    """How often codes near the middle of a record were delivered, beside those that arithmetic leaves empty."""

    label: str
    """The setting, for people."""
    found: str
    """What it turned out to be."""
    factor: float
    """Arithmetic part, > 1."""
    first: int
    """The lowest code."""
    counts: tuple[int, ...]
    """Of it and each above it."""
    empty: tuple[bool, ...]
    """Whether a multiplication by the factor leaves it empty, by the rounding that fits best."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordResidual:
    """What a record holds beside its sine."""

    label: str
    """The setting, for people."""
    residual_percent: float
    """Of its gain."""
    envelope: tuple[tuple[float, float, float], ...]
    """Phase in cycles, 0 to 1, with the least and the largest residual there, codes."""
    spectrum: tuple[tuple[float, float], ...]
    """Frequency in Hz, and the largest line near it, dB below the signal's amplitude (negative)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One number over the time of a run."""

    name: str
    """An anchor's label; probe_c, air_c, supply_v or supply_a."""
    unit: str
    points: tuple[tuple[float, float], ...]
    """Minutes since the run began, and the value: percent against the first for an anchor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunDetail:
    """All of it; each empty where a run has none."""

    codes: CodeCounts | None = None
    record: RecordResidual | None = None
    courses: tuple[Course, ...] = ()
