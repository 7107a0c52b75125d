"""The uncertainty of a run's gains: stated numbers and the run's own scatter, common and per-reading parts apart."""

from harness.judge.gain_budget.beside import BesideBudget, Heard
from harness.judge.gain_budget.gain_budget import NO_BUDGET, GainBudget, gain_budget
from harness.judge.gain_budget.reduced import Reduced, reduced
from harness.judge.gain_budget.statement import COVERAGE_RATIO, Statement
from harness.judge.gain_budget.steady import SteadyBudget, SteadyItem, steady_budget
from harness.judge.gain_budget.tables import budget_tables

__all__ = [
    "COVERAGE_RATIO",
    "NO_BUDGET",
    "BesideBudget",
    "GainBudget",
    "Heard",
    "Reduced",
    "Statement",
    "SteadyBudget",
    "SteadyItem",
    "budget_tables",
    "gain_budget",
    "reduced",
    "steady_budget",
]
