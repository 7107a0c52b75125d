"""Which parameters the readings can tell apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.law.stages import Floats

RANK_RATIO = 1e-6
"""Singular values below this share of the largest count as 0: a direction that the readings do not see."""
SHARE = 1e-6
"""Part that a parameter may have in such a direction and still count as identifiable."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Identified:
    """What a design matrix can tell."""

    identifiable: npt.NDArray[np.bool_]
    """By parameter, shape (p,)."""
    singular_values: Floats
    """Of the matrix with columns of unit length, largest first, shape (p,)."""
    rank: int


def identify(matrix: Floats) -> Identified:
    """Which parameters a design matrix can tell apart.

    Args:
        matrix: one row per reading, one column per parameter, shape (n, p).
    Returns:
        by parameter whether the readings decide it alone, and the singular values that say so.
    Source:
        null space by singular value decomposition: textbook linear algebra.
    """
    norms = np.linalg.norm(matrix, axis=0)
    scaled = matrix / np.where(norms > 0.0, norms, 1.0)
    count = matrix.shape[1]
    # The p x p triangle of a QR decomposition has the same singular values, and is small however many rows there are.
    _, values, directions = np.linalg.svd(np.linalg.qr(scaled, mode="r"), full_matrices=True)
    values = np.concatenate([values, np.zeros(count - values.size)])
    unseen = values <= RANK_RATIO * max(float(values[0]), 1e-300)
    return Identified(
        identifiable=np.sum(directions[unseen] ** 2, axis=0) <= SHARE,
        singular_values=values,
        rank=int(count - np.count_nonzero(unseen)),
    )
