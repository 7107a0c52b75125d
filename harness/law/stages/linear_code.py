"""linear-code: a gain proportional to a code."""

from __future__ import annotations

from typing import ClassVar

from pydantic import Field, model_validator

from harness.config.model import Name, Positive
from harness.law.stages.kind import CodeStage, Control, Controls, number_of


class LinearCode(CodeStage):
    """Gain = code · gain_per_code. Code 0 has no gain, so it is never a legal code."""

    kind: ClassVar[str] = "linear-code"

    control: Name
    bits: int = Field(ge=1, le=24)
    lowest_code: int = Field(default=1, ge=1)
    """Lowest code that the firmware may use; the highest is 2**bits - 1."""
    gain_per_code: Positive
    """V/V."""

    @model_validator(mode="after")
    def _lowest_fits(self) -> LinearCode:
        if self.lowest_code >= 2**self.bits:
            raise ValueError(f"lowest_code of {2**self.bits - 1} at most, for bits = {self.bits}")
        return self

    def needs(self) -> tuple[Control, ...]:
        """The code; see StageKind.needs."""
        return (Control(name=self.control, values=range(self.lowest_code, 2**self.bits), bits=self.bits),)

    def gain_ratio(self, controls: Controls) -> float:
        """Code times gain per code, for codes below the lowest legal one too; see StageKind.gain_ratio."""
        return number_of(controls, self.control) * self.gain_per_code

    def exact_code(self, gain_ratio: float) -> float:
        """Gain over gain per code; see CodeStage.exact_code."""
        return gain_ratio / self.gain_per_code
