"""The charts of a golden unit: each number against its own history, limits for all of them together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.errors import MeasureError
from harness.judge.gauge import ewma, run_limit_ratio
from harness.judge.golden.numbers import NOISE
from harness.values import GoldenLook, GoldenNumber, Outcome

LEAST_DEVIATION_PERCENT = 0.02
"""Scatter of a gain that is always there, though a few runs in a row may not show it: settling, contacts, warmth."""
LEAST_NOISE_PERCENT = 5.0
"""The same of a noise, which is known from some thousand samples and follows temperature."""
LEAST_REFERENCE = 3
CHARTS_EACH = 2
"""The weighted average, which sees small shifts that stay, and the newest value, which sees large ones at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GoldenRow:
    """One number on its charts, percent."""

    name: str
    value: float
    target: float
    deviation: float
    average: float
    average_low: float
    average_high: float
    value_low: float
    value_high: float

    @property
    def inside(self) -> bool:
        """Whether both charts keep their limits."""
        kept = self.average_low <= self.average <= self.average_high
        return kept and self.value_low <= self.value <= self.value_high


@dataclass(frozen=True, slots=True, kw_only=True)
class GoldenCheck:
    """A golden unit against its history."""

    outcome: Outcome
    """PASS, FAIL; INCONCLUSIVE while the reference is being built."""
    rows: tuple[GoldenRow, ...]
    """Empty while the reference is being built."""
    built: int
    """Checks in the reference; while it is built, this one included."""
    wanted: int

    @property
    def outside(self) -> tuple[GoldenRow, ...]:
        """The rows beyond their limits."""
        return tuple(row for row in self.rows if not row.inside)


def golden_check(history: Sequence[GoldenLook], numbers: Sequence[GoldenNumber], *, wanted: int) -> GoldenCheck:
    """Hold a golden unit against its own history.

    Args:
        history: earlier checks of the same unit, station and job, oldest first; none with a restart behind it counts.
        numbers: of this check.
        wanted: checks that make the reference, LEAST_REFERENCE or more.
    Returns:
        the check. The average begins anew behind a check that failed, for its cause was removed meanwhile.
    Raises:
        MeasureError: too small a reference, or a number of the reference is missing in this check.
        NotFinite: a number is NaN or infinite.
    Source:
        gauge.ewma and gauge.run_limit_ratio; limits of a single value s·sqrt(1 + 1/n).
    """
    if wanted < LEAST_REFERENCE:
        raise MeasureError(f"golden reference of {wanted} checks; allowed: {LEAST_REFERENCE} or more")
    since = max((index for index, look in enumerate(history) if look.restart), default=0)
    valid = [look for look in history[since:] if look.numbers]
    reference = [look for look in valid if look.reference][:wanted]
    if len(reference) < wanted:
        return GoldenCheck(outcome=Outcome.INCONCLUSIVE, rows=(), built=len(reference) + 1, wanted=wanted)
    failed = max((index for index, look in enumerate(valid) if look.outcome is Outcome.FAIL), default=-1)
    charted = [look for look in valid[failed + 1 :] if not look.reference]
    table = [_by_name(look.numbers) for look in (*reference, *charted)]
    own = _by_name(numbers)
    names = [name for name in table[0] if name in own and all(name in row for row in table)]
    missing = [name for name in table[0] if name not in own]
    if not names:
        raise _lacking(missing)
    charts = CHARTS_EACH * len(names)
    sigmas = run_limit_ratio(charts, wanted), run_limit_ratio(charts, None)
    rows = tuple(
        _row(name, [row[name] for row in table[:wanted]], [row[name] for row in (*table[wanted:], own)], sigmas)
        for name in names
    )
    outcome = Outcome.PASS if all(row.inside for row in rows) else Outcome.FAIL
    # A unit far off its limits has no fit: what was measured of it tells that all the same.
    if missing and outcome is Outcome.PASS:
        raise _lacking(missing)
    return GoldenCheck(outcome=outcome, rows=rows, built=wanted, wanted=wanted)


def _lacking(missing: Sequence[str]) -> MeasureError:
    return MeasureError(
        f"golden check: {', '.join(missing) or 'every number'} of the reference was not measured this time; "
        "allowed: the ladder of the reference: look at the INVALID settings, or build a new reference"
    )


def _by_name(numbers: Sequence[GoldenNumber]) -> dict[str, float]:
    return {number.name: number.percent for number in numbers}


def _row(name: str, reference: Sequence[float], values: Sequence[float], sigmas: tuple[float, float]) -> GoldenRow:
    least = LEAST_NOISE_PERCENT if name.startswith(NOISE) else LEAST_DEVIATION_PERCENT
    target, deviation = float(np.mean(reference)), float(np.std(reference, ddof=1))
    # What the reference shows is an estimate from few values; the least scatter is known.
    reach = max(sigmas[0] * deviation, sigmas[1] * least)
    weighted, widths = ewma(values, mean=target, deviation=reach, width=1.0, reference=len(reference))
    average, wide = float(weighted[-1]), float(widths[-1])
    half = reach * math.sqrt(1.0 + 1.0 / len(reference))
    return GoldenRow(
        name=name,
        value=values[-1],
        target=target,
        deviation=max(deviation, least),
        average=average,
        average_low=target - wide,
        average_high=target + wide,
        value_low=target - half,
        value_high=target + half,
    )
