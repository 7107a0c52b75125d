"""`gainladder golden check`: a run of a golden unit, held against its own history and recorded as what it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from harness.app.golden.looks import history, station_of
from harness.app.output import say
from harness.app.run import judged
from harness.app.setup import Setup
from harness.errors import MeasureError, StationFault
from harness.judge.golden import GoldenCheck, common_percent, golden_causes, golden_check, golden_numbers
from harness.store import Clock, Store, add_note
from harness.values import (
    GOLDEN_CHECK,
    SHARED_FACTOR,
    GoldenLook,
    GoldenNumber,
    Outcome,
    RunHeader,
    RunResult,
    golden_text,
)

DEFAULT_RUNS = 10
"""Checks that make a reference, for a job without [production]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """A golden check that is in the record."""

    header: RunHeader
    result: RunResult
    look: GoldenLook
    check: GoldenCheck | None
    """None where the run gave no numbers to compare."""
    why: str

    @property
    def lines(self) -> tuple[str, ...]:
        """For people: the verdict, then each number that is outside, or each one of a sound check."""
        rows = () if self.check is None else self.check.outside or self.check.rows
        return (
            f"{self.look.outcome}  golden unit {self.look.unit} on {self.look.station}: {self.why}",
            *(
                f"  {row.name:<20} {row.value:+9.4f} %  reference {row.target:+9.4f} ± {row.deviation:.4f} %, allowed"
                f" {row.value_low:+.4f} … {row.value_high:+.4f}; average {row.average:+9.4f} %, allowed"
                f" {row.average_low:+.4f} … {row.average_high:+.4f}{'' if row.inside else '  OUTSIDE'}"
                for row in rows
            ),
        )

    @property
    def content(self) -> dict[str, Any]:
        """For `--json`."""
        rows = () if self.check is None else self.check.rows
        return {
            "run": self.header.run_id, "unit": self.look.unit, "station": self.look.station,
            "outcome": str(self.look.outcome), "why": self.why, "reference": self.look.reference,
            "common_percent": self.look.common_percent,
            "numbers": {number.name: number.percent for number in self.look.numbers},
            "rows": [
                {
                    "name": row.name, "percent": row.value, "target_percent": row.target,
                    "deviation_percent": row.deviation, "low_percent": row.value_low, "high_percent": row.value_high,
                    "average_percent": row.average, "average_low_percent": row.average_low,
                    "average_high_percent": row.average_high, "inside": row.inside,
                }
                for row in rows
            ],
        }  # fmt: skip


def wanted_runs(setup: Setup) -> int:
    """How many checks make a reference."""
    return DEFAULT_RUNS if setup.job.production is None else setup.job.production.golden_runs


def conclude_check(
    store: Store, setup: Setup, run_id: str, station: StationFault | None, clock: Clock, *, restart: str
) -> Checked:
    """Judge a recorded run of a golden unit against its history; the result is in the run's journal on return."""
    header, result = judged(store, run_id)
    before = () if restart else history(store, setup, header.unit)
    shared = any(event.kind == SHARED_FACTOR for event in store.events(run_id))
    numbers = golden_numbers(result)
    outcome, check, why = _decided(before, numbers, result, wanted=wanted_runs(setup))
    if station is not None:
        outcome, why = Outcome.INVALID, f"station fault {station.fault}: {station}"
    rows = () if check is None else check.rows
    compared = tuple(GoldenNumber(name=row.name, percent=row.value) for row in rows) or numbers
    targets = [row.target for row in rows]
    look = GoldenLook(
        unit=header.unit,
        station=station_of(setup),
        job=setup.job.name,
        outcome=outcome,
        reference=outcome is Outcome.INCONCLUSIVE and check is not None and not rows and not shared,
        restart=restart,
        common_percent=common_percent(compared, targets) or 0.0,
        numbers=() if outcome is Outcome.INVALID else numbers,
    )
    if shared and check is not None and not rows:
        why = f"{why}; all channels share a factor, so this check is no part of the reference"
    event = add_note(store, run_id, GOLDEN_CHECK, golden_text(look), clock)
    say(f"golden check recorded in run {run_id}")
    return Checked(
        header=header, result=result, look=replace(look, run_id=run_id, at_utc=event.at_utc), check=check, why=why
    )


def _decided(
    before: tuple[GoldenLook, ...], numbers: tuple[GoldenNumber, ...], result: RunResult, *, wanted: int
) -> tuple[Outcome, GoldenCheck | None, str]:
    """Outcome, charts and reason: an INVALID run says nothing, a unit that fails its limits is not golden."""
    if result.verdict is Outcome.INVALID:
        reason = next((j.reason for j in result.judgements if j.outcome is Outcome.INVALID), "nothing was measured")
        return Outcome.INVALID, None, f"the run is INVALID: {reason}"
    try:
        check = golden_check(before, numbers, wanted=wanted)
    except MeasureError as error:
        return Outcome.INVALID, None, str(error)
    if check.outside:
        names = ", ".join(row.name for row in check.outside)
        causes = golden_causes(check)
        why = f"{len(check.outside)} of {len(check.rows)} numbers have left their history: {names}"
        alike = f"; all ranges moved alike, as with {', '.join(causes)}, or the golden unit itself did"
        return Outcome.FAIL, check, why + alike if causes else why
    if result.verdict is Outcome.FAIL:
        reason = next(j.reason for j in result.judgements if j.outcome is Outcome.FAIL)
        return Outcome.FAIL, check, f"it fails the limits of the job: {reason}"
    if not check.rows:
        return Outcome.INCONCLUSIVE, check, f"check {check.built} of {check.wanted} that build the reference"
    return Outcome.PASS, check, f"{len(check.rows)} numbers keep their history"
