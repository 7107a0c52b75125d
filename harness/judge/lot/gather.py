"""Runs in short, one after another, to the statistics of their lot; only what is needed of each stays in memory."""

from __future__ import annotations

from array import array
from collections import Counter

import numpy as np

from harness.judge.lot.followed import MOST_FOLLOWED, Course, followed
from harness.judge.lot.other_limits import OtherLimits
from harness.judge.lot.yields import Attempts, effect_of, share_of
from harness.values import LotResult, LotRun, Outcome, ParetoRow, RunSummary, Times

EXAMPLES = 5


_Reasons = dict[str, dict[str, None]]
"""Units by reason, each once, in order."""


class LotGatherer:
    """Takes the runs of a lot, oldest first."""

    def __init__(
        self, *, limits: OtherLimits | None = None, limits_path: str = "", takt_s: float | None = None
    ) -> None:
        self._limits = limits
        self._limits_path = limits_path
        self._takt_s = takt_s
        self._runs = self._not_judged = 0
        self._ends: list[LotRun] = []
        self._units: dict[str, Attempts] = {}
        self._items: _Reasons = {}
        self._diagnoses: _Reasons = {}
        self._invalid: dict[str, tuple[int, int]] = {}
        self._courses: dict[str, Course] = {}
        self._seconds = array("d")
        self._outcomes: Counter[str] = Counter()
        self._versions: Counter[str] = Counter()

    def take(self, run: LotRun) -> None:
        """One run.

        Args:
            run: not older than the one before.
        Source:
            practice: attempts are counted; INVALID is neither a pass nor a product failure.
        """
        short = run.summary
        self._runs += 1
        self._ends = [*self._ends[:1], run]
        self._versions[short.limits_sha256] += 1
        unit = self._units.setdefault(run.unit, Attempts())
        if run.repaired:
            unit.mended = ""
        for reason, settings in short.invalid:
            runs, before = self._invalid.get(reason, (0, 0))
            self._invalid[reason] = (runs + 1, before + settings)
        if not judged(short):
            self._not_judged += 1
            return
        first = not unit.own and unit.mended is None
        unit.take(short.verdict, "" if self._limits is None else self._limits.outcome(short))
        self._outcomes[short.verdict] += 1
        if short.seconds is not None:
            self._seconds.append(short.seconds)
        if short.verdict is not Outcome.PASS:
            for item in {held.item for held in short.items if held.outcome == Outcome.FAIL}:
                self._items.setdefault(item, {})[run.unit] = None
            if short.diagnoses:
                self._diagnoses.setdefault(short.diagnoses[0], {})[run.unit] = None
        if first:
            for name, value, low, high, text in short.charted:
                course = self._courses.get(name)
                if course is None:
                    course = self._courses[name] = Course(unit=text)
                course.values.append(value)
                course.low, course.high = low, high

    def result(self) -> LotResult:
        """The lot.

        Returns:
            the statistics of all runs taken; at least one must have been.
        Raises:
            IndexError: no run was taken.
        Source:
            yields, followed.
        """
        units = [one for one in self._units.values() if one.own]
        last = self._ends[-1]
        every = followed(self._courses)
        mended = [one for one in self._units.values() if one.mended]
        passed = [one for one in units if one.passes(one.own)]
        counts = Counter(one.count for one in units)
        return LotResult(
            job=last.job,
            device=last.device,
            first_utc=self._ends[0].started_utc,
            last_utc=last.started_utc,
            runs=self._runs,
            units=len(self._units),
            not_judged=self._not_judged,
            never_judged=sum(not one.own and not one.mended for one in self._units.values()),
            outcomes=tuple((outcome, self._outcomes[outcome]) for outcome in Outcome),
            attempts=tuple(sorted(counts.items())),
            first_pass=share_of(sum(one.first(one.own) for one in units), len(units)),
            final=share_of(len(passed), len(units)),
            retest_pass=share_of(sum(not one.first(one.own) for one in passed), len(units)),
            repaired=share_of(sum(one.passes_mended for one in mended), len(mended)),
            quarantine=sum(one.quarantined for one in units),
            items=_pareto(self._items, len(self._units)),
            diagnoses=_pareto(self._diagnoses, len(self._units)),
            invalid=tuple(
                (text, *counts)
                for text, counts in sorted(self._invalid.items(), key=lambda pair: (-pair[1][0], pair[0]))
            ),
            followed=every[:MOST_FOLLOWED],
            more_followed=len(every[MOST_FOLLOWED:]),
            times=self._times(),
            limits=None if self._limits is None else effect_of(
                self._units, path=self._limits_path, undecided=tuple(sorted(self._limits.undecided))
            ),
            versions=tuple(self._versions.most_common()),
        )  # fmt: skip

    def _times(self) -> Times | None:
        if not self._seconds:
            return None
        seconds = np.frombuffer(self._seconds)
        median, ninety, longest = np.quantile(seconds, [0.5, 0.9, 1.0]).tolist()
        over = 0 if self._takt_s is None else int(np.count_nonzero(seconds > self._takt_s))
        return Times(
            count=len(seconds), median_s=median, ninety_s=ninety, longest_s=longest, takt_s=self._takt_s, over=over
        )


def judged(short: RunSummary) -> bool:
    """Whether an attempt says something about its unit.

    Args:
        short: the run.
    Returns:
        False for INVALID, and for an incomplete run unless it has failed: stopping hides no failure.
    Source:
        practice: INVALID is neither a pass nor a product failure.
    """
    return short.verdict is Outcome.FAIL or (short.complete and short.verdict is not Outcome.INVALID)


def _pareto(reasons: _Reasons, units: int) -> tuple[ParetoRow, ...]:
    ranked = sorted(reasons.items(), key=lambda pair: (-len(pair[1]), pair[0]))
    return tuple(
        ParetoRow(name=name, units=len(had), share_percent=100.0 * len(had) / units, examples=tuple(had)[:EXAMPLES])
        for name, had in ranked
    )
