"""Least squares with weights, priors and a robust loss: the numbers behind the fit of a law."""

from harness.law.fitting.huber import HUBER, huber_weights, variance_factor
from harness.law.fitting.identify import Identified, identify
from harness.law.fitting.shared import Shared, SharedSolution, solve_shared
from harness.law.fitting.solve import Model, Solution, linear_model, solve

__all__ = [
    "HUBER",
    "Identified",
    "Model",
    "Shared",
    "SharedSolution",
    "Solution",
    "huber_weights",
    "identify",
    "linear_model",
    "solve",
    "solve_shared",
    "variance_factor",
]
