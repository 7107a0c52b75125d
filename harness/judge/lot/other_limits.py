"""A run's outcome under other limits, from its summary alone."""

from __future__ import annotations

from collections.abc import Iterable

from harness.config import LimitItem
from harness.judge.claims import ITEMS
from harness.judge.limit_set import LimitSet
from harness.judge.limits import decide
from harness.judge.verdict import worst_outcome
from harness.values import HeldItem, Outcome, RunSummary


class OtherLimits:
    """Decides summaries by other limits; remembers which items they cannot decide."""

    def __init__(self, limits: LimitSet) -> None:
        self._rows: dict[str, list[LimitItem]] = {}
        for _, row in limits.rows:
            self._rows.setdefault(row.item, []).append(row)
        self.undecided: dict[str, None] = {}

    def outcome(self, summary: RunSummary) -> Outcome:
        """The verdict of a run under these limits.

        Args:
            summary: of the run, as judged by its own limits.
        Returns:
            the worst outcome of all items: one with a single row in the file, and a single pair of limits in the run,
            by its extreme numbers; one that the file leaves out falls away; all others as they were, and named in
            `undecided` where their limits differ.
        Source:
            the extremes decide for all numbers between them where U is alike; judge --compare decides each number.
        """
        groups: dict[str, list[HeldItem]] = {}
        for held in summary.items:
            groups.setdefault(held.item, []).append(held)
        outcomes = [Outcome.INVALID] if summary.invalid or not summary.complete else []
        for item, several in groups.items():
            rows = self._rows.get(item)
            if rows is None and item in ITEMS:
                continue
            outcomes.append(self._item(item, several, rows or []))
        for item, added in self._rows.items():
            if item not in groups and any(row.low is not None or row.high is not None for row in added):
                self.undecided[item] = None
        return worst_outcome(outcomes)

    def _item(self, item: str, several: list[HeldItem], rows: list[LimitItem]) -> Outcome:
        as_it_was = worst_outcome(Outcome(held.outcome) for held in several)
        numbered = [row for row in rows if row.low is not None or row.high is not None]
        if not numbered:
            return as_it_was
        if len(rows) > 1 or len(several) > 1 or rows[0].scoped or item == "parameter":
            if {(row.low, row.high) for row in rows} != {(held.low, held.high) for held in several}:
                self.undecided[item] = None
            return as_it_was
        held = several[0]
        if held.least is None or held.most is None:
            return as_it_was
        return worst_outcome(_decided(numbered[0], ((held.least, held.least_u), (held.most, held.most_u))))


def _decided(row: LimitItem, extremes: Iterable[tuple[float, float | None]]) -> list[Outcome]:
    outcomes = []
    for value, expanded in extremes:
        # Far inside by any rule: most numbers are, and the full decision takes twenty times as long.
        wide = row.guard + max(1.0, row.share) * (expanded or 0.0)
        low = row.low is None or value - row.low >= wide
        high = row.high is None or row.high - value >= wide
        strong = expanded is not None and (row.low is None or row.high is None or row.high - row.low >= 2.0 * expanded)
        outcomes.append(Outcome.PASS if low and high and strong else decide(value, row, expanded=expanded).outcome)
    return outcomes
