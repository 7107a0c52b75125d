"""The printed budgets: one for each range group, that of its worst setting."""

from __future__ import annotations

import math

from harness.judge.gain_budget.gain_budget import GainBudget
from harness.judge.gain_budget.statement import COVERAGE_RATIO
from harness.judge.uncertainty import Budget
from harness.values import BudgetLine, BudgetTable


def budget_tables(budget: GainBudget) -> tuple[BudgetTable, ...]:
    """What the uncertainty of each range group is made of.

    Args:
        budget: of the run.
    Returns:
        one table a group, in the order in which its first setting stands in the run; none without a budget.
    Source:
        practice: a budget per range group, that of its worst reading.
    """
    ladder = budget.ladder
    if ladder is None:
        return ()
    members: dict[str, list[int]] = {}
    for place, item in enumerate(budget.items):
        members.setdefault(item.group, []).append(place)
    tables = []
    for group, places in members.items():
        ranges = tuple(dict.fromkeys(budget.items[place].range_name for place in places))
        worst = ladder.worst(places)
        tables.append(printed(f"{group} ({', '.join(ranges)})", ladder.at(worst), budget.notes))
    return tuple(tables)


def printed(group: str, budget: Budget, notes: tuple[str, ...]) -> BudgetTable:
    """One budget for print.

    Args:
        group: whose it is, for people.
        budget: of one reading.
        notes: what must be said with it.
    Returns:
        the table.
    Source:
        none: a record.
    """
    return BudgetTable(
        group=group,
        rows=tuple(
            BudgetLine(
                name=row.name,
                kind=row.kind,
                stated=row.stated,
                standard_percent=row.standard_percent,
                dof=_finite(row.dof),
                share_percent=row.share_percent,
            )
            for row in budget.rows()
        ),
        standard_percent=budget.standard_percent,
        common_percent=budget.common_percent,
        own_percent=budget.independent_percent,
        expanded_percent=budget.expanded_percent(probability_ratio=COVERAGE_RATIO),
        factor=budget.factor(probability_ratio=COVERAGE_RATIO),
        dof=_finite(budget.dof),
        notes=notes,
    )


def _finite(dof: float) -> float | None:
    return dof if math.isfinite(dof) else None
