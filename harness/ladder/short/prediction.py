"""How well the law, fitted to some settings, predicts all others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.diagnosis.view import Floats
from harness.law import GainLaw, design_matrix

READING_PERCENT = 0.05
"""Standard uncertainty of a reading: what a model of a good unit leaves at a setting."""
UNKNOWN_PERCENT = 1.0
"""Stands for the tolerance of a parameter of which the device file says nothing, and of the gain of the whole path."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Model:
    """The parameters of a law, as the readings of one channel tell them."""

    matrix: Floats
    """Percent of gain for one percent of parameter, shape (coarse · fine, parameters)."""
    prior: Floats
    """Inverse covariance of the parameters before any reading, shape (parameters, parameters)."""

    def variances(self, places: Sequence[int]) -> Floats:
        """What is open about every setting's gain.

        Args:
            places: settings that were read, as coarse · fine index.
        Returns:
            variance in percent², shape (coarse · fine,).
        """
        chosen = self.matrix[list(places)]
        information = self.prior + chosen.T @ chosen / READING_PERCENT**2
        half = np.linalg.solve(np.linalg.cholesky(information), self.matrix.T)
        return np.asarray(np.einsum("ij,ij->j", half, half), dtype=np.float64)

    def worst_percent(self, places: Sequence[int]) -> float:
        """The largest standard uncertainty of a predicted gain: what G-optimal settings make least."""
        return float(np.sqrt(np.max(self.variances(places))))


def model_of(law: GainLaw) -> Model:
    """The model of one channel: gain of the path, positions, pre-gain, slopes, the weight of every bit.

    Args:
        law: of the device.
    Returns:
        its sensitivities, and tolerances as prior knowledge: half widths of rectangular distributions.
    """
    settings = [setting for setting in law.settings() if setting.channel == 1]
    design = design_matrix(law, settings, bits=True)
    wide = [UNKNOWN_PERCENT if one.tolerance_percent is None else one.tolerance_percent for one in design.columns]
    # A tolerance of nothing is knowledge, but the inverse of nothing is no number.
    variances = np.maximum(np.asarray(wide), 1e-3) ** 2 / 3.0
    return Model(matrix=design.matrix, prior=np.diag(1.0 / variances))
