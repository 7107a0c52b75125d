"""How well a gain is known: contributions, budgets, propagation, and their check by drawing."""

from harness.judge.uncertainty.budget import Budget, BudgetRow, dominant_factor
from harness.judge.uncertainty.combine import combined, coverage_factor, dof_of_doubt, effective_dof, student_factor
from harness.judge.uncertainty.contribution import Contribution, expanded_contribution
from harness.judge.uncertainty.converter import nonlinearity, range_term, resolution
from harness.judge.uncertainty.ladder import Combined, LadderBudget, Series
from harness.judge.uncertainty.line import Line, fit_line
from harness.judge.uncertainty.monte_carlo import Generator, coverage_interval, draw, draw_sum
from harness.judge.uncertainty.noise import fit_noise, noise_before_rounding_code, rounding
from harness.judge.uncertainty.path import flatness, loading, pad, reading_accuracy, temperature
from harness.judge.uncertainty.propagation import Propagated, propagate, second_order_standard
from harness.judge.uncertainty.repeat import Nested, Observed, nested, observed, repeatability
from harness.judge.uncertainty.scatter import (
    added_variance_interval,
    deviation_ratio,
    rounding_of_deviation_code,
    scatter_dof,
)
from harness.judge.uncertainty.shape import Shape, shape_factor, standard_ratio, trapezoid_of

__all__ = [
    "Budget",
    "BudgetRow",
    "Combined",
    "Contribution",
    "Generator",
    "LadderBudget",
    "Line",
    "Nested",
    "Observed",
    "Propagated",
    "Series",
    "Shape",
    "added_variance_interval",
    "combined",
    "coverage_factor",
    "coverage_interval",
    "deviation_ratio",
    "dof_of_doubt",
    "dominant_factor",
    "draw",
    "draw_sum",
    "effective_dof",
    "expanded_contribution",
    "fit_line",
    "fit_noise",
    "flatness",
    "loading",
    "nested",
    "noise_before_rounding_code",
    "nonlinearity",
    "observed",
    "pad",
    "propagate",
    "range_term",
    "reading_accuracy",
    "repeatability",
    "resolution",
    "rounding",
    "rounding_of_deviation_code",
    "scatter_dof",
    "second_order_standard",
    "shape_factor",
    "standard_ratio",
    "student_factor",
    "temperature",
    "trapezoid_of",
]
