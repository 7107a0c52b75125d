"""Stages whose gain in decibels follows a code; what linear-in-dB amplifiers and step attenuators share."""

from __future__ import annotations

from harness.config.model import Count, Name, NotNegative
from harness.law.stages.control import Control
from harness.law.stages.kind import CodeStage, Flaw, Parameter

MOST_BITS = 24


class DbCodeStage(CodeStage):
    """A code of any width, 0 allowed, that may stop short of its highest."""

    control: Name
    bits: Count
    """At most MOST_BITS."""
    lowest_code: NotNegative = 0
    """Lowest code that the firmware may use, a whole number."""
    highest_code: Count | None = None
    """Highest code; 2**bits - 1 where nothing is said."""

    def flaws(self) -> tuple[Flaw, ...]:
        """Too many bits, a highest code that does not fit, or a lowest one above it; see StageKind.flaws."""
        if self.bits > MOST_BITS:
            return (Flaw("bits", str(self.bits), f"1 to {MOST_BITS}"),)
        most = 2**self.bits - 1
        if self.highest_code is not None and self.highest_code > most:
            return (Flaw("highest_code", str(self.highest_code), f"1 to {most}, for bits = {self.bits}"),)
        last = most if self.highest_code is None else self.highest_code
        if self.lowest_code > last or self.lowest_code != int(self.lowest_code):
            return (Flaw("lowest_code", f"{self.lowest_code:g}", f"0 to {last}, a whole number"),)
        return ()

    def needs(self) -> tuple[Control, ...]:
        """The code; see StageKind.needs."""
        last = 2**self.bits - 1 if self.highest_code is None else self.highest_code
        return (Control(name=self.control, values=range(int(self.lowest_code), last + 1), bits=self.bits),)

    def slope_parameter(self, name: str, nominal: float) -> Parameter:
        """The parameter that a fit calls the slope of the control."""
        return Parameter(name=name, nominal=nominal, fitted=f"{self.control} slope")
