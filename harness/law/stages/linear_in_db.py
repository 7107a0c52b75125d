"""linear-in-db: a gain whose decibels are proportional to a code, with a ripple that repeats along it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

import numpy as np

from harness.config.model import Finite, Name, NotNegative, Positive
from harness.law.stages.bit_terms import bit_flaws, carry_ratio
from harness.law.stages.control import Arrays
from harness.law.stages.db_code import DbCodeStage
from harness.law.stages.kind import LN_PER_DB, Flaw, Floats, Parameter, Term


class LinearInDb(DbCodeStage):
    """Gain, dB = intercept + slope · code + ripple · sin(2π · code / period + phase)."""

    kind: ClassVar[str] = "linear-in-db"

    intercept_db: Finite
    """Gain at code 0, dB."""
    slope_db_per_code: Finite
    """dB for each code; negative where the gain falls."""
    ripple_db: NotNegative = 0.0
    """Amplitude of the conformance ripple, where it is known; else give it as a tolerance."""
    ripple_period_code: Positive | None = None
    """Codes after which the ripple repeats."""
    ripple_phase_deg: Finite = 0.0
    """Phase of the ripple at code 0."""
    carry_percent: dict[Name, Finite] | None = None
    """By how much the gain is more while a bit is set, where it is known: a step where that bit comes in."""

    @property
    def falling(self) -> bool:
        """Whether the slope is negative; see CodeStage.falling."""
        return self.slope_db_per_code < 0.0

    def flaws(self) -> tuple[Flaw, ...]:
        """No slope, or a ripple without a period; see StageKind.flaws."""
        if self.slope_db_per_code == 0.0:
            return (Flaw("slope_db_per_code", "0", "any number but 0"),)
        if self.ripple_db > 0.0 and self.ripple_period_code is None:
            return (Flaw("ripple_period_code", "nothing", "the codes after which ripple_db repeats"),)
        return super().flaws() or bit_flaws("carry_percent", self.carry_percent, self.bits)

    def gains_ratio(self, arrays: Arrays) -> Term:
        """Line, ripple, carries; see StageKind.gains_ratio."""
        code = arrays[self.control].astype(np.float64)
        level_db = self.intercept_db + self.slope_db_per_code * code + self._ripple(arrays) * self.ripple_db
        carries = carry_ratio(self.carry_percent, arrays[self.control]) if self.carry_percent else 1.0
        return np.asarray(np.exp(LN_PER_DB * level_db) * carries)

    def exact_codes(self, gains_ratio: Floats) -> Floats:
        """From the line alone: firmware does not know ripple and carries; see CodeStage.exact_codes."""
        return (np.log(gains_ratio) / LN_PER_DB - self.intercept_db) / self.slope_db_per_code

    def parameters(self) -> tuple[Parameter, ...]:
        """Intercept, slope, ripple."""
        return (
            Parameter(name="intercept_db", nominal=self.intercept_db, unit="dB"),
            self.slope_parameter("slope_db_per_code", self.slope_db_per_code),
            Parameter(name="ripple_db", nominal=self.ripple_db, unit="dB", independent=True),
        )

    def sensitivities(self, arrays: Arrays, changes: Mapping[str, float]) -> dict[str, Term]:
        """One dB, the dB of the slope, one dB: the phase of what is not known of the ripple is not known either."""
        slope = LN_PER_DB * self.slope_db_per_code * arrays[self.control].astype(np.float64)
        return {"intercept_db": LN_PER_DB, "slope_db_per_code": slope, "ripple_db": LN_PER_DB}

    def _ripple(self, arrays: Arrays) -> Term:
        if self.ripple_period_code is None:
            return 0.0
        turns = arrays[self.control].astype(np.float64) / self.ripple_period_code + self.ripple_phase_deg / 360.0
        return np.asarray(np.sin(2.0 * np.pi * turns))
