"""Stored runs judged twice: by their own limits, and by others; what would change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from harness.app.run import judged
from harness.errors import GainladderError, UsageError
from harness.judge import Flips, flips
from harness.store import Store
from harness.values import Outcome, RunHeader

MOST_SHOWN = 12
"""Claims printed for one run; `--json` has all of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedRun:
    """One run under two sets of limits."""

    header: RunHeader
    flips: Flips
    labels: dict[Any, str]
    """Name of each setting, for people."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """All runs that were compared, newest first, and those that could not be."""

    limits_path: str
    runs: tuple[ComparedRun, ...]
    left_out: tuple[tuple[str, str], ...]
    """Run and reason."""


def compare(store: Store, run_ids: Sequence[str], limits_path: str) -> Comparison:
    """Judge each run by its own limits and by others. UsageError where no run can be compared."""
    done: list[ComparedRun] = []
    left_out: list[tuple[str, str]] = []
    for run_id in run_ids:
        try:
            header, before = judged(store, run_id)
            _, after = judged(store, run_id, limits_path=limits_path)
        except GainladderError as error:
            left_out.append((run_id, str(error)))
            continue
        labels = {row.setting: row.label for row in after.settings}
        done.append(ComparedRun(header=header, flips=flips(before, after), labels=labels))
    if not done:
        reasons = "; ".join(f"{run_id}: {reason}" for run_id, reason in left_out[:3]) or "the store holds no run"
        raise UsageError(f"judge --compare {limits_path}: no stored run can be judged by these limits: {reasons}")
    return Comparison(limits_path=limits_path, runs=tuple(done), left_out=tuple(left_out))


def lines_of(comparison: Comparison) -> list[str]:
    """The comparison for people: each run that changes, then the sum."""
    lines: list[str] = []
    for run in comparison.runs:
        if run.flips.any:
            lines.extend(_run_lines(run))
    lines.extend(f"{run_id}  not compared: {reason}" for run_id, reason in comparison.left_out)
    runs = comparison.runs
    verdicts = [run for run in runs if run.flips.before is not run.flips.after]
    settings = sum(len(run.flips.settings) for run in runs)
    before, after = (sum(_verdict(run, late) is Outcome.PASS for run in runs) for late in (False, True))
    units = sorted({run.header.unit for run in verdicts})
    which = f": {', '.join(units)}" if units else ""
    lines.append(
        f"{len(runs)} runs compared: {before} pass by their own limits, {after} by {comparison.limits_path}; "
        f"{len(verdicts)} verdicts and {settings} settings flip{which}"
    )
    return lines


def _verdict(run: ComparedRun, late: bool) -> Outcome:
    return run.flips.after if late else run.flips.before


def _run_lines(run: ComparedRun) -> list[str]:
    found = run.flips
    head = f"{run.header.run_id}  unit {run.header.unit}: {found.before} -> {found.after}"
    lines = [f"{head}; {len(found.settings)} settings, {len(found.claims)} claims flip"]
    for claim in found.claims[:MOST_SHOWN]:
        place = run.labels.get(claim.setting, "the run")
        if claim.other is not None:
            place = f"{run.labels.get(claim.other, '')} to {place}"
        number = "" if claim.measured is None else f": {claim.measured:+.3g} {claim.unit}"
        change = f"{_edges(claim.was)} -> {_edges(claim.now)}" if claim.was != claim.now else ""
        lines.append(
            f"  {claim.before or 'not required'} -> {claim.after or 'not required'}  {place} {claim.item}{number}"
            + (f", allowed {change}" if change else "")
        )
    if len(found.claims) > MOST_SHOWN:
        lines.append(f"  and {len(found.claims) - MOST_SHOWN} more claims; --json lists all")
    return lines


def _edges(limits: tuple[float | None, float | None]) -> str:
    edges = [f"{edge:+g}" for edge in limits if edge is not None]
    return " to ".join(edges) or "anything"


def as_json(comparison: Comparison) -> dict[str, Any]:
    """The comparison for machines: everything."""
    return {
        "limits": comparison.limits_path,
        "not_compared": [{"run": run_id, "reason": reason} for run_id, reason in comparison.left_out],
        "runs": [
            {
                "run": run.header.run_id,
                "unit": run.header.unit,
                "before": run.flips.before,
                "after": run.flips.after,
                "settings": [
                    {"setting": label, "before": before, "after": after} for label, before, after in run.flips.settings
                ],
                "claims": [
                    {
                        "item": claim.item, "setting": run.labels.get(claim.setting, ""),
                        "from": run.labels.get(claim.other, ""), "before": claim.before, "after": claim.after,
                        "measured": claim.measured, "unit": claim.unit, "was": claim.was, "now": claim.now,
                    }
                    for claim in run.flips.claims
                ],
            }
            for run in comparison.runs
        ],
    }  # fmt: skip
