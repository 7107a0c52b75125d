"""linear-code: a gain proportional to a code."""

from __future__ import annotations

from typing import ClassVar

from harness.config.model import Count, Name, Positive
from harness.law.stages.kind import CodeStage, Control, Controls, Flaw, number_of

MOST_BITS = 24


class LinearCode(CodeStage):
    """Gain = code · gain_per_code. Code 0 has no gain, so it is never a legal code."""

    kind: ClassVar[str] = "linear-code"

    control: Name
    bits: Count
    """At most MOST_BITS."""
    lowest_code: Count = 1
    """Lowest code that the firmware may use; the highest is 2**bits - 1."""
    gain_per_code: Positive
    """V/V."""

    def flaws(self) -> tuple[Flaw, ...]:
        """Too many bits, or a lowest code above the highest; see StageKind.flaws."""
        if self.bits > MOST_BITS:
            return (Flaw("bits", str(self.bits), f"1 to {MOST_BITS}"),)
        if self.lowest_code >= 2**self.bits:
            allowed = f"1 to {2**self.bits - 1}, for bits = {self.bits}"
            return (Flaw("lowest_code", str(self.lowest_code), allowed),)
        return ()

    def needs(self) -> tuple[Control, ...]:
        """The code; see StageKind.needs."""
        return (Control(name=self.control, values=range(self.lowest_code, 2**self.bits), bits=self.bits),)

    def gain_ratio(self, controls: Controls) -> float:
        """Code times gain per code, for codes below the lowest legal one too; see StageKind.gain_ratio."""
        return number_of(controls, self.control) * self.gain_per_code

    def exact_code(self, gain_ratio: float) -> float:
        """Gain over gain per code; see CodeStage.exact_code."""
        return gain_ratio / self.gain_per_code
