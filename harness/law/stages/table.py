"""table: a gain for each code, as measured or as drawn."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import ClassVar

import numpy as np

from harness.config.model import Count, Name, Positive
from harness.law.stages.control import Arrays, Control
from harness.law.stages.kind import CodeStage, Flaw, Floats, Parameter, Term

MOST_BITS = 16


class Table(CodeStage):
    """One gain for each code, rising or falling throughout; between codes ln of the gain is a straight line."""

    kind: ClassVar[str] = "table"

    control: Name
    bits: Count
    """At most MOST_BITS."""
    first_code: int = 0
    """Code of the first gain."""
    gains: tuple[Positive, ...]
    """V/V, for each code from first_code on."""

    @property
    def falling(self) -> bool:
        """Whether the last gain is less than the first; see CodeStage.falling."""
        return self.gains[-1] < self.gains[0]

    def flaws(self) -> tuple[Flaw, ...]:
        """Codes that do not fit into the bits, or gains that turn round; see StageKind.flaws."""
        if self.bits > MOST_BITS:
            return (Flaw("bits", str(self.bits), f"1 to {MOST_BITS}"),)
        if not 0 <= self.first_code < 2**self.bits:
            return (Flaw("first_code", str(self.first_code), f"0 to {2**self.bits - 1}, for bits = {self.bits}"),)
        most = 2**self.bits - self.first_code
        if not 2 <= len(self.gains) <= most:
            return (Flaw("gains", f"{len(self.gains)} gains", f"2 to {most}, for bits = {self.bits}"),)
        for index, (before, after) in enumerate(pairwise(self.gains), start=1):
            if after == before or (after < before) != self.falling:
                way = "less" if self.falling else "more"
                return (Flaw(f"gains[{index}]", f"{after:g}", f"{way} than {before:g}: the table goes one way"),)
        return ()

    def needs(self) -> tuple[Control, ...]:
        """The code; see StageKind.needs."""
        values = range(self.first_code, self.first_code + len(self.gains))
        return (Control(name=self.control, values=values, bits=self.bits),)

    def gains_ratio(self, arrays: Arrays) -> Term:
        """The gain of the code, 0 beside the table; see StageKind.gains_ratio."""
        place = arrays[self.control] - self.first_code
        known = (place >= 0) & (place < len(self.gains))
        return np.asarray([*self.gains, 0.0])[np.where(known, place, len(self.gains))]

    def exact_codes(self, gains_ratio: Floats) -> Floats:
        """Between neighbours, and on from the ends with the slope there; see CodeStage.exact_codes."""
        way = -1 if self.falling else 1
        logs = np.log(np.asarray(self.gains))[::way]
        wanted = np.log(gains_ratio)
        place = np.clip(np.searchsorted(logs, wanted) - 1, 0, len(logs) - 2)
        exact = place + (wanted - logs[place]) / (logs[place + 1] - logs[place])
        codes = self.first_code + (exact if way > 0 else len(logs) - 1 - exact)
        return np.asarray(codes, dtype=np.float64)

    def parameters(self) -> tuple[Parameter, ...]:
        """All gains together."""
        return (Parameter(name="gains", nominal=1.0),)

    def sensitivities(self, arrays: Arrays, changes: Mapping[str, float]) -> dict[str, Term]:
        """1 everywhere."""
        return {"gains": 1.0}
