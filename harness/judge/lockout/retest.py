"""Retests: every run of a unit counts, and none of them is the best one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.values import Outcome

RETEST_PASSES = 1
"""A unit that has passed on a retest so often and fails again goes to a technician."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Retest:
    """Where a unit stands before its next run."""

    attempt: int
    """Number of the next run, from 1."""
    failed_before: bool
    """A pass is then a pass on retest."""
    used_up: bool
    """All runs without a repair are used up."""
    again: bool
    """It has passed on a retest before and has failed again."""


def retest_of(runs: Sequence[Outcome], *, attempts: int) -> Retest:
    """Count the runs of a unit.

    Args:
        runs: outcomes since the unit was repaired, oldest first. INVALID is no attempt: it says nothing of the unit.
        attempts: runs that a unit may have.
    Returns:
        where it stands; one that has passed last has nothing used up.
    Source:
        practice: attempts counted, never best of; passes on retest counted apart; then quarantine.
    """
    counted = [outcome for outcome in runs if outcome is not Outcome.INVALID]
    passed_late = sum(
        outcome is Outcome.PASS and any(before is not Outcome.PASS for before in counted[:index])
        for index, outcome in enumerate(counted)
    )
    failed_last = bool(counted) and counted[-1] is not Outcome.PASS
    return Retest(
        attempt=len(counted) + 1,
        failed_before=any(outcome is not Outcome.PASS for outcome in counted),
        used_up=failed_last and len(counted) >= attempts,
        again=failed_last and passed_late >= RETEST_PASSES,
    )
