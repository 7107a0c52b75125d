"""How the readings of good units scatter, and distances in that scatter, without ever writing the whole covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spread:
    """Covariance of n readings: own part of each, a part that readings of one setting share, parts of all readings."""

    own: Floats
    """Variance of each reading, > 0, shape (n,)."""
    group: Integers
    """Number of the setting of each reading, from 0, shape (n,)."""
    shared: Floats
    """Variance that readings of one setting share, by setting."""
    columns: Floats
    """What each common part of one standard uncertainty does, shape (n, k)."""

    def of(self, known: npt.NDArray[np.bool_]) -> Spread:
        """The same of some readings only."""
        return Spread(own=self.own[known], group=self.group[known], shared=self.shared, columns=self.columns[known])

    def with_more(self, own: Floats, column: Floats) -> Spread:
        """The same with more variance of each reading and one more common part."""
        return Spread(
            own=self.own + own, group=self.group, shared=self.shared,
            columns=np.column_stack((self.columns, column)),
        )  # fmt: skip

    def diagonal(self) -> Floats:
        """Variance of each reading alone, shape (n,)."""
        return np.asarray(self.own + self.shared[self.group] + np.sum(self.columns**2, axis=1))

    def solver(self) -> Solver:
        """Worked out once, for several vectors."""
        weights = np.bincount(self.group, 1.0 / self.own, minlength=self.shared.size)
        gain = self.shared / (1.0 + self.shared * weights)
        solver = Solver(spread=self, gain=gain, half=np.zeros((0, 0)), log_size=0.0)
        inner = np.eye(self.columns.shape[1]) + self.columns.T @ solver.inside(self.columns)
        lower = np.linalg.cholesky(inner)
        log_size = (
            float(np.sum(np.log(self.own)))
            + float(np.sum(np.log1p(self.shared * weights)))
            + 2.0 * float(np.sum(np.log(np.diag(lower))))
        )
        return Solver(spread=self, gain=gain, half=np.linalg.inv(lower), log_size=log_size)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solver:
    """Inner products in the metric of a spread (Woodbury's identity)."""

    spread: Spread
    gain: Floats
    half: Floats
    """Inverse of the lower triangle of the inner matrix."""
    log_size: float
    """Logarithm of the determinant."""

    def inside(self, vectors: Floats) -> Floats:
        """Vectors over the part without common columns, shape (n,) or (n, k)."""
        one = vectors.ndim == 1
        table = vectors[:, None] if one else vectors
        over = table / self.spread.own[:, None]
        sums = np.zeros((self.gain.size, table.shape[1]))
        np.add.at(sums, self.spread.group, over)
        found = over - (self.gain[:, None] * sums)[self.spread.group] / self.spread.own[:, None]
        return np.asarray(found[:, 0] if one else found)

    def product(self, first: Floats, second: Floats) -> float:
        """first · C⁻¹ · second."""
        inside = self.inside(second)
        left = self.half @ (self.spread.columns.T @ self.inside(first))
        right = self.half @ (self.spread.columns.T @ inside)
        return float(first @ inside - left @ right)
