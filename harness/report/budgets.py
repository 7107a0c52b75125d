"""The uncertainty budgets as text: table D of the page."""

from __future__ import annotations

from dataclasses import dataclass

from harness.report import words
from harness.values import BudgetTable, RunResult

EXACT = "∞"
"""Degrees of freedom of what is taken as exact."""
MOST_DOF = 1e5
"""More than these are written as exact: no factor k can tell them apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetText:
    """One budget as text."""

    group: str
    rows: tuple[tuple[str, str, str, str, str, str], ...]
    """Name, kind, how it was stated, standard uncertainty, degrees of freedom, share."""
    sums: tuple[tuple[str, str, str], ...]
    """Name, percent, degrees of freedom."""
    notes: tuple[str, ...]


def budget_texts(result: RunResult) -> tuple[BudgetText, ...]:
    """What the uncertainty of each range group is made of.

    Args:
        result: of a run.
    Returns:
        one text a budget, in the order of the result.
    """
    return tuple(_text(budget) for budget in result.budgets)


def _text(budget: BudgetTable) -> BudgetText:
    return BudgetText(
        group=budget.group,
        rows=tuple(
            (
                row.name,
                row.kind,
                row.stated.replace(" %", "\N{NO-BREAK SPACE}%"),
                _percent(row.standard_percent),
                _dof(row.dof),
                words.decimal(row.share_percent, digits=1),
            )
            for row in budget.rows
        ),
        sums=(
            ("common to all readings", _percent(budget.common_percent), ""),
            ("of each reading", _percent(budget.own_percent), ""),
            ("combined, absolute gain", _percent(budget.standard_percent), _dof(budget.dof)),
            (f"expanded U, k = {budget.factor:.3g}", _percent(budget.expanded_percent), ""),
        ),
        notes=budget.notes,
    )


def _percent(value_percent: float) -> str:
    return words.decimal(value_percent, digits=3)


def _dof(dof: float | None) -> str:
    return EXACT if dof is None or dof > MOST_DOF else words.decimal(dof, digits=0)
