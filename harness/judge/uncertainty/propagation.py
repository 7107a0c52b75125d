"""Uncertainty of results that are computed from uncertain inputs: first and second order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from harness.errors import MeasureError
from harness.judge.uncertainty.checked import Floats, checked, same_length

Model = Callable[[Floats], Floats]
"""From inputs, shape (k,), to results, shape (m,)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Propagated:
    """Results with their uncertainties; arrays are made read-only."""

    values: Floats
    """Shape (m,)."""
    sensitivities: Floats
    """Shape (m, k): partial derivatives at the estimates."""
    covariance: Floats
    """Shape (m, m)."""
    components: Floats
    """Shape (k, m): |sensitivity| times standard uncertainty of each input, for effective_dof."""

    def __post_init__(self) -> None:
        for array in (self.values, self.sensitivities, self.covariance, self.components):
            array.setflags(write=False)

    @property
    def standard(self) -> Floats:
        """Standard uncertainties, shape (m,)."""
        return np.asarray(np.sqrt(np.maximum(np.diag(self.covariance), 0.0)))

    @property
    def correlation(self) -> Floats:
        """Correlation matrix of the results, shape (m, m); 0 beside a result without uncertainty."""
        size = np.outer(self.standard, self.standard)
        return np.asarray(np.where(size > 0.0, self.covariance / np.where(size > 0.0, size, 1.0), 0.0))


def propagate(model: Model, estimates: Floats, *, covariance: Floats) -> Propagated:
    """What a model makes of correlated uncertain inputs, by its linear part.

    Args:
        model: from inputs, shape (k,), to results, shape (m,); smooth within a few standard uncertainties.
        estimates: shape (k,), each in its own unit.
        covariance: shape (k, k), symmetric; a diagonal of squares where the inputs are independent.
    Returns:
        values, sensitivities and covariance of the results, as covariance = J·V·Jᵀ.
    Raises:
        NotFinite: an input or a result is not finite, or a variance is negative.
        MeasureError: the covariance is not square, not symmetric or of another size than the estimates.
    Source:
        JCGM 100:2008, 5.2.2, equation (13); JCGM 102:2011, 6.2. Derivatives by central differences of fourth order at
        one and two standard uncertainties.
    """
    where = "propagation"
    inputs = checked(where, "an estimate", estimates)
    matrix = checked(where, "a covariance", covariance)
    size = same_length(where, estimates=inputs)
    if matrix.shape != (size, size) or not np.allclose(matrix, matrix.T, rtol=1e-9, atol=0.0):
        raise MeasureError(
            f"{where}: covariance of shape {matrix.shape}; allowed is a symmetric matrix of shape {(size, size)}"
        )
    standard = np.sqrt(checked(where, "a variance", np.diag(matrix), least=0.0))
    values = checked(where, "a result", np.atleast_1d(model(inputs)))
    columns = []
    for index in range(size):
        width = standard[index] if standard[index] > 0.0 else 1e-4 * max(1.0, abs(float(inputs[index])))
        near, far = (_odd(model, inputs, index, width * times) for times in (1.0, 2.0))
        columns.append((8.0 * near - far) / (12.0 * width))
    jacobian = checked(where, "a sensitivity", np.stack(columns, axis=1))
    return Propagated(
        values=values,
        sensitivities=jacobian,
        covariance=jacobian @ matrix @ jacobian.T,
        components=np.abs(jacobian * standard).T,
    )


def second_order_standard(model: Model, estimates: Floats, *, standard: Floats) -> float:
    """What the curvature of a model adds to the uncertainty of its first result.

    Args:
        model: from inputs, shape (k,), to results; the first one counts.
        estimates: shape (k,), each in its own unit.
        standard: shape (k,), standard uncertainties of independent inputs, > 0.
    Returns:
        root of the second-order variance Σij (f_ij²/2 + f_i·f_ijj)·u_i²·u_j², in the unit of the result; 0 where the
        sum is negative. The linear part is not in it: add the squares.
    Raises:
        NotFinite: an argument is not finite or a standard uncertainty is not positive.
        MeasureError: the arrays differ in length.
    Source:
        JCGM 100:2008, 5.1.2, note, and H.1.7.
    """
    where = "second order"
    inputs = checked(where, "an estimate", estimates)
    u = checked(where, "standard", standard, least=0.0, open_at="least")
    size = same_length(where, estimates=inputs, standard=u)

    def at(*moves: tuple[int, float]) -> float:
        moved = inputs.copy()
        for index, times in moves:
            moved[index] += times * u[index]
        return float(np.atleast_1d(model(moved))[0])

    centre = at()
    variance = 0.0
    for i in range(size):
        first = (at((i, 1.0)) - at((i, -1.0))) / 2.0
        for j in range(size):
            if i == j:
                mixed = at((i, 1.0)) - 2.0 * centre + at((i, -1.0))
                third = (at((i, 2.0)) - 2.0 * at((i, 1.0)) + 2.0 * at((i, -1.0)) - at((i, -2.0))) / 2.0
            else:
                corner = {(a, b): at((i, a), (j, b)) for a in (-1.0, 0.0, 1.0) for b in (-1.0, 0.0, 1.0)}
                mixed = (corner[1, 1] - corner[1, -1] - corner[-1, 1] + corner[-1, -1]) / 4.0
                bend = {a: corner[a, 1] - 2.0 * corner[a, 0] + corner[a, -1] for a in (-1.0, 1.0)}
                third = (bend[1] - bend[-1]) / 2.0
            variance += mixed**2 / 2.0 + first * third
    checked(where, "the variance", variance)
    return float(np.sqrt(max(variance, 0.0)))


def _odd(model: Model, inputs: Floats, index: int, width: float) -> Floats:
    moved = inputs.copy()
    moved[index] = inputs[index] + width
    above = np.atleast_1d(model(moved))
    moved[index] = inputs[index] - width
    return np.asarray(above - np.atleast_1d(model(moved)), dtype=np.float64)
