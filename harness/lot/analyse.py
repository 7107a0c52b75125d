"""From where the runs are to the statistics of their lot."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from harness.errors import GainladderError, UsageError
from harness.judge.lot import LotGatherer, OtherLimits
from harness.lot.choice import Lot, choose
from harness.values import LotResult, LotRun, RunSummary

Summarise = Callable[[str], RunSummary]
"""Judges a run, by its id."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysed:
    """A lot, and what is to be said about how it was read."""

    result: LotResult
    left_out: tuple[tuple[str, int], ...]
    """Reason and number of runs."""
    judged_now: int
    """Runs that had no summary."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the user asked for."""

    job: str = ""
    since: str = ""
    until: str = ""
    """Runs begun before this moment; empty: all."""
    limits: OtherLimits | None = None
    limits_path: str = ""
    takt_s: float | None = None


def analyse(lot: Lot, asked: Asked, *, summarise: Summarise | None) -> Analysed:
    """The statistics of a lot; runs without a summary are judged by `summarise`, or left out without one.

    Raises:
        UsageError: no run is left.
    """
    chosen = choose(lot.heads(), job=asked.job, since=asked.since, until=asked.until)
    gatherer = LotGatherer(limits=asked.limits, limits_path=asked.limits_path, takt_s=asked.takt_s)
    taken = judged_now = without = broken = 0
    for head, kept in lot.summaries(chosen.heads):
        short = kept
        if short is None and summarise is not None:
            try:
                short = summarise(head.run_id)
                judged_now += 1
            except GainladderError:
                broken += 1
                continue
        if short is None:
            without += 1
            continue
        run = LotRun(
            run_id=head.run_id, unit=head.unit, started_utc=head.started_utc, job=head.job, device=head.device,
            summary=short, repaired=head.repaired,
        )  # fmt: skip
        gatherer.take(run)
        taken += 1
    more = (("without a summary", without), ("cannot be judged", broken))
    left_out = (*chosen.left_out, *((reason, count) for reason, count in more if count))
    if not taken:
        raise UsageError(
            "lot: no run is left: " + ", ".join(f"{count} {reason}" for reason, count in left_out)
            + "; `gainladder lot --store URL --keep` makes summaries, then export again"
        )  # fmt: skip
    return Analysed(result=gatherer.result(), left_out=left_out, judged_now=judged_now)
