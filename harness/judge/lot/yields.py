"""Attempts of units to yields; never best-of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from harness.judge.decision import share_interval
from harness.values import LimitsEffect, Share

MOST_ATTEMPTS = 3
"""More judged attempts are no pass, whatever the last one says: the unit belongs to a technician."""
_LETTERS = 3
PASSED = "PAS"


@dataclass(slots=True)
class Attempts:
    """The judged attempts of a unit: three letters each, oldest first; a lot has a hundred thousand of these."""

    own: str = ""
    """By the limits of each run."""
    other: str = ""
    """By other limits; empty without."""
    mended: str | None = None
    """Those since its last repair, which are no part of the others; None: it was never repaired."""

    @property
    def count(self) -> int:
        """Judged attempts."""
        return len(self.own) // _LETTERS

    @property
    def quarantined(self) -> bool:
        """Whether there are more than three."""
        return self.count > MOST_ATTEMPTS

    def take(self, outcome: str, other: str) -> None:
        """One more judged attempt.

        Args:
            outcome: by the limits of the run.
            other: by other limits; empty without.
        Source:
            practice: what a repair has made of a unit counts apart.
        """
        if self.mended is not None:
            self.mended += outcome[:_LETTERS]
            return
        self.own += outcome[:_LETTERS]
        self.other += other[:_LETTERS]

    @property
    def passes_mended(self) -> bool:
        """Whether it passes in the end since its last repair, within three attempts."""
        mended = self.mended or ""
        return mended.endswith(PASSED) and len(mended) <= MOST_ATTEMPTS * _LETTERS

    def first(self, of: str) -> bool:
        """Whether the first attempt passes.

        Args:
            of: `own` or `other`.
        Returns:
            the answer.
        Source:
            practice: a pass on retest is never in the first-pass yield.
        """
        return of.startswith(PASSED)

    def passes(self, of: str) -> bool:
        """Whether the unit passes in the end.

        Args:
            of: `own` or `other`.
        Returns:
            True where the last attempt passes and there are at most three.
        Source:
            practice: never best-of; at most three attempts, then quarantine.
        """
        return of.endswith(PASSED) and not self.quarantined


def share_of(events: int, trials: int) -> Share:
    """A share with its interval of 95 %.

    Args:
        events: 0 to trials.
        trials: >= 0.
    Returns:
        the share; from 0 to 1 without trials.
    Source:
        share_interval.
    """
    low, high = share_interval(events, trials=trials) if trials else (0.0, 1.0)
    return Share(events=events, trials=trials, low_ratio=low, high_ratio=high)


def effect_of(units: Mapping[str, Attempts], *, path: str, undecided: tuple[str, ...]) -> LimitsEffect:
    """What other limits make of the yields.

    Args:
        units: attempts by unit.
        path: of the limits, for people.
        undecided: items that summaries cannot decide.
    Returns:
        yields by the other limits, and the units whose final outcome changes.
    Source:
        practice: a change of limits shows its effect on stored units before it is made.
    """
    known = {unit: one for unit, one in units.items() if one.other}
    changed = {unit: one for unit, one in known.items() if one.passes(one.own) != one.passes(one.other)}
    return LimitsEffect(
        path=path,
        first_pass=share_of(sum(one.first(one.other) for one in known.values()), len(known)),
        final=share_of(sum(one.passes(one.other) for one in known.values()), len(known)),
        now_passing=tuple(unit for unit, one in changed.items() if one.passes(one.other)),
        now_not_passing=tuple(unit for unit, one in changed.items() if not one.passes(one.other)),
        undecided=undecided,
    )
