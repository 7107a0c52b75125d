"""Stages with named positions, one gain each; what relay attenuators, switched gains and converter gains share."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping

import numpy as np

from harness.config.model import Count, Name
from harness.law.stages.control import Arrays, Control
from harness.law.stages.kind import Flaw, Parameter, StageKind, Term

MOST_BITS = 16


class PositionStage(StageKind):
    """One gain by position; the position may stand in a control word."""

    control: Name
    bits: Count | None = None
    """Width of its field in the control word, with `words`; left out where it stands in none."""
    words: dict[Name, int] | None = None
    """Number of each position in that field."""

    @abstractmethod
    def table(self) -> Mapping[str, float]:
        """The nominal gain by position, V/V."""

    def table_key(self) -> str:
        """The key that holds the gains."""
        return "gains"

    def flaws(self) -> tuple[Flaw, ...]:
        """No position at all, or numbers that do not fit; see StageKind.flaws."""
        table = self.table()
        if not table:
            return (Flaw(self.table_key(), "no position", "a gain for each position"),)
        if (self.bits is None) != (self.words is None):
            return (Flaw("words", "bits or words alone", "bits and words, or neither"),)
        if self.words is None or self.bits is None:
            return ()
        if self.bits > MOST_BITS:
            return (Flaw("bits", str(self.bits), f"1 to {MOST_BITS}"),)
        if set(self.words) != set(table):
            allowed = f"exactly the positions of {self.table_key()}: {', '.join(table)}"
            return (Flaw("words", ", ".join(self.words), allowed),)
        numbers = list(self.words.values())
        if len(set(numbers)) != len(numbers) or not all(0 <= number < 2**self.bits for number in numbers):
            allowed = f"each number once, 0 to {2**self.bits - 1} in {self.bits} bits"
            return (Flaw("words", ", ".join(map(str, numbers)), allowed),)
        return ()

    def needs(self) -> tuple[Control, ...]:
        """The position; see StageKind.needs."""
        names = tuple(self.table())
        words = tuple(self.words[name] for name in names) if self.words else ()
        return (Control(name=self.control, values=names, bits=self.bits, words=words),)

    def gains_ratio(self, arrays: Arrays) -> Term:
        """The gain of the position, 0 for a code that no position has; see StageKind.gains_ratio."""
        return np.asarray([*self.table().values(), 0.0], dtype=np.float64)[arrays[self.control]]

    def parameters(self) -> tuple[Parameter, ...]:
        """Each position; a fit holds the one of gain 1, else the first."""
        table = self.table()
        held = next((name for name, gain in table.items() if gain == 1.0), next(iter(table)))
        return tuple(
            Parameter(name=name, nominal=gain, fitted=f"{self.control} {name}", reference=name == held)
            for name, gain in table.items()
        )

    def sensitivities(self, arrays: Arrays, changes: Mapping[str, float]) -> dict[str, Term]:
        """1 in the position, else 0."""
        here = arrays[self.control]
        return {name: (here == index).astype(np.float64) for index, name in enumerate(self.table())}
