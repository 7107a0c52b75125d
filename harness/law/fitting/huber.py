"""The robust loss of Huber: readings far off count less."""

from __future__ import annotations

import math

import numpy as np

from harness.law.stages import Floats

HUBER = 1.345
"""Where it begins to count less, in standard deviations: 95 % efficient on normal errors."""
_MAD = 1.482602218505602
"""Standard deviation over median absolute deviation, normal errors."""


def huber_weights(residuals: Floats, corner: float) -> Floats:
    """How much each reading counts.

    Args:
        residuals: in standard deviations, shape (n,).
        corner: up to here a reading counts fully, > 0.
    Returns:
        weights of the squares, 1 or less, shape (n,).
    Source:
        P. J. Huber, Ann. Math. Statist. 35 (1964) 73, from memory; held against a direct minimisation in
        tests/law/test_fit_solve.py.
    """
    size = np.abs(residuals)
    return np.where(size <= corner, 1.0, corner / np.maximum(size, corner))


def loss(residuals: Floats, corner: float | None) -> float:
    """What is minimised.

    Args:
        residuals: in standard deviations, shape (n,).
        corner: as in `huber_weights`; None for plain squares.
    Returns:
        sum of r², where beyond the corner 2·corner·|r| - corner² stands for r².
    Source:
        as `huber_weights`.
    """
    if corner is None:
        return float(residuals @ residuals)
    size = np.abs(residuals)
    return float(np.sum(np.where(size <= corner, size * size, corner * (2.0 * size - corner))))


def robust_sd(residuals: Floats, parameters: float) -> float:
    """How far residuals scatter, whatever a few of them do.

    Args:
        residuals: shape (n,).
        parameters: number of parameters that were fitted to them; not whole where priors have their share.
    Returns:
        standard deviation, >= 0; 0 without a degree of freedom.
    Source:
        median absolute deviation, scaled for normal errors; n/(n - p) for the parameters.
    """
    count = residuals.size
    if count <= parameters:
        return 0.0
    return float(_MAD * np.median(np.abs(residuals)) * math.sqrt(count / (count - parameters)))


def variance_factor(corner: float | None) -> float:
    """By how much the robust loss enlarges the variance of an estimate on normal errors.

    Args:
        corner: as in `huber_weights`; None for plain squares.
    Returns:
        E[ψ²]/E[ψ']², 1 or more; 1.0526 for 1.345.
    Source:
        asymptotic variance of an M-estimate, textbook; integrals of the normal density in closed form.
    """
    if corner is None:
        return 1.0
    inside = math.erf(corner / math.sqrt(2.0))
    density = math.exp(-corner * corner / 2.0) / math.sqrt(2.0 * math.pi)
    square = inside - 2.0 * corner * density + corner * corner * (1.0 - inside)
    return square / inside**2
