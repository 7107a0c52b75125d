"""Controls: what sets a stage, by name or number, and how it stands in arrays and words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.errors import UsageError

Controls = Mapping[str, str | int]
"""Named controls of one state, such as {"attenuator": "1:10", "pregain": 1, "code": 204}."""
Arrays = Mapping[str, npt.NDArray[np.int64]]
"""The same for many states at once, all of one shape."""

NO_POSITION = -1
"""In an array: a code that no named position has."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """A control that a stage needs."""

    name: str
    values: Sequence[str | int]
    """Legal values, least first where they are numbers."""
    bits: int | None = None
    """Width in the control word; None for a control that cannot stand in a word."""
    words: tuple[int, ...] = ()
    """Of named positions that stand in a word: the number of each."""

    def allowed(self) -> str:
        """The legal values for people, such as `1 to 255` or `'1:1', '1:10'`."""
        if isinstance(self.values, range):
            return f"{self.values[0]} to {self.values[-1]}"
        return ", ".join(repr(value) for value in self.values)

    @property
    def named(self) -> bool:
        """Whether its values are names of positions."""
        return isinstance(self.values[0], str)

    def as_number(self, value: object) -> int:
        """A value as it stands in arrays: a number as it is, a position by index. UsageError for no such value."""
        if self.named:
            if isinstance(value, str) and value in self.values:
                return self.values.index(value)
            if self.words and isinstance(value, int):
                return self.words.index(value) if value in self.words else NO_POSITION
            raise UsageError(f"control {self.name}: got {value!r}; allowed is one of {self.allowed()}")
        if not isinstance(value, int):
            allowed = "a whole number: name it among the controls"
            raise UsageError(f"control {self.name}: got {value!r}; allowed is {allowed}")
        if self.bits is not None and not 0 <= value < 2**self.bits:
            raise UsageError(f"control {self.name}: got {value}; allowed is 0 to {2**self.bits - 1}")
        return value

    def word_number(self, value: object) -> int:
        """A value as it stands in a word. UsageError for no such value."""
        if self.named and isinstance(value, str) and value in self.values and self.words:
            return self.words[self.values.index(value)]
        if not isinstance(value, int):
            allowed = f"{self.allowed()}, or its number in the word" if self.named else "a whole number"
            raise UsageError(f"control {self.name}: got {value!r}; allowed is {allowed}")
        return value

    def from_word(self, number: int) -> str | int:
        """What a number in a word means: the named position that has it, else the number itself."""
        return self.values[self.words.index(number)] if number in self.words else number


def array_of(control: Control, controls: Controls) -> npt.NDArray[np.int64]:
    """One state's value of a control, as an array without dimensions.

    Args:
        control: the control.
        controls: of one state.
    Returns:
        shape ().
    Raises:
        UsageError: the control is missing, or has a value that it cannot take.
    Source:
        none: a look-up.
    """
    return np.asarray(control.as_number(controls.get(control.name)), dtype=np.int64)
