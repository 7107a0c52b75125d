"""What a lot needs of each run, made once when the run is judged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from harness.values.judgement import Outcome


class HeldItem(NamedTuple):
    """One item of a run under one pair of limits: how often, with which worst outcome, between which numbers.

    A tuple, for a lot has millions of them.
    """

    item: str
    """Such as `gain`; all fitted parameters of a run under the same limits are one, `parameter`."""
    unit: str
    """Empty for a claim without a number."""
    low: float | None
    high: float | None
    judged: int
    """Judgements."""
    failing: int
    """Of them FAIL."""
    outcome: str
    """The worst of them."""
    least: float | None
    """Least number, in `unit`; None without any."""
    least_u: float | None
    """Its expanded uncertainty U, k = 2; None where none is stated."""
    most: float | None
    most_u: float | None


class Charted(NamedTuple):
    """A number that is followed from unit to unit."""

    name: str
    value: float
    low: float | None
    high: float | None
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSummary:
    """One run in short."""

    run_id: str
    at_utc: str
    """When it was judged."""
    software: str
    limits_sha256: str
    verdict: Outcome
    complete: bool
    """False when readings are missing."""
    seconds: float | None
    """From begin to end, s; None without an end."""
    tested: int
    """Settings."""
    failing: int
    """Settings that FAIL."""
    items: tuple[HeldItem, ...]
    diagnoses: tuple[str, ...]
    """Likeliest cause first; empty for a PASS."""
    invalid: tuple[tuple[str, int], ...]
    """Beginning of the reason, and settings that are INVALID for it."""
    charted: tuple[Charted, ...]


@dataclass(slots=True)
class LotRun:
    """One run of a lot. Not frozen: a lot has a hundred thousand, and they are made and forgotten."""

    run_id: str
    unit: str
    started_utc: str
    job: str
    """Name of the job file."""
    device: str
    """Name of the device file."""
    summary: RunSummary
    repaired: bool = False
    """It is the first behind a repair of the unit."""
