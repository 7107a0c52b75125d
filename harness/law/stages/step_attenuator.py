"""step-attenuator: a digital attenuator, bits of fixed decibels behind an insertion loss."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

import numpy as np

from harness.config.model import NotNegative, Positive
from harness.law.stages.control import Arrays
from harness.law.stages.db_code import DbCodeStage
from harness.law.stages.kind import LN_PER_DB, Floats, Parameter, Term


class StepAttenuator(DbCodeStage):
    """Loss, dB = insertion loss + step · code: each bit adds step · 2**bit, relative to the insertion loss."""

    kind: ClassVar[str] = "step-attenuator"

    step_db: Positive
    """Attenuation of the lowest bit, dB."""
    insertion_loss_db: NotNegative = 0.0
    """Loss at code 0, dB."""

    @property
    def falling(self) -> bool:
        """True: more code, more loss."""
        return True

    def gains_ratio(self, arrays: Arrays) -> Term:
        """Minus the loss; see StageKind.gains_ratio."""
        loss_db = self.insertion_loss_db + self.step_db * arrays[self.control].astype(np.float64)
        return np.asarray(np.exp(-LN_PER_DB * loss_db))

    def exact_codes(self, gains_ratio: Floats) -> Floats:
        """Loss beyond the insertion loss over the step; see CodeStage.exact_codes."""
        return (-np.log(gains_ratio) / LN_PER_DB - self.insertion_loss_db) / self.step_db

    def parameters(self) -> tuple[Parameter, ...]:
        """Insertion loss, all steps together, each bit alone."""
        weights = tuple(
            Parameter(
                name=f"bit_{bit}",
                nominal=self.step_db * 2**bit,
                fitted=f"{self.control} bit {bit}",
                weight=True,
            )
            for bit in range(self.bits)
        )
        loss = Parameter(name="insertion_loss_db", nominal=self.insertion_loss_db, unit="dB")
        return (loss, self.slope_parameter("steps", self.step_db), *weights)

    def sensitivities(self, arrays: Arrays, changes: Mapping[str, float]) -> dict[str, Term]:
        """One dB of loss; the attenuation of all bits, and of each."""
        code, size = arrays[self.control], -LN_PER_DB * self.step_db
        found: dict[str, Term] = {"insertion_loss_db": -LN_PER_DB, "steps": size * code.astype(np.float64)}
        found.update({f"bit_{bit}": (code >> bit & 1).astype(np.float64) * (size * 2**bit) for bit in range(self.bits)})
        return found
