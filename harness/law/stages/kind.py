"""What every kind of stage promises."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from harness.config.model import Table
from harness.errors import UsageError

Controls = Mapping[str, str | int]
"""Named controls of one state, such as {"attenuator": "1:10", "pregain": 1, "code": 204}."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """A control that a stage needs."""

    name: str
    values: Sequence[str | int]
    """Legal values, least first where they are numbers."""
    bits: int | None = None
    """Width in the control word; None for a control that cannot stand in a word."""

    def allowed(self) -> str:
        """The legal values for people, such as `1 to 255` or `'1:1', '1:10'`."""
        if isinstance(self.values, range):
            return f"{self.values[0]} to {self.values[-1]}"
        return ", ".join(repr(value) for value in self.values)


@dataclass(frozen=True, slots=True)
class Flaw:
    """A parameter that contradicts another one of its stage."""

    key: str
    got: str
    allowed: str


class StageKind(Table, ABC):
    """The parameters of one stage, and what it does; keys it does not know are refused."""

    kind: ClassVar[str]
    """The word after `kind =` in the device file."""

    def needs(self) -> tuple[Control, ...]:
        """Which controls the gain depends on, with their legal values.

        Returns:
            one entry per control; empty for a fixed stage.
        Source:
            the stage's parameters in the device file.
        """
        return ()

    def flaws(self) -> tuple[Flaw, ...]:
        """Which parameters, each legal by itself, contradict each other.

        Returns:
            empty for a sound stage; a stage with flaws must not be used.
        Source:
            none: a check of content.
        """
        return ()

    @abstractmethod
    def gain_ratio(self, controls: Controls) -> float:
        """Which gain the stage has.

        Args:
            controls: at least the controls of `needs`; others are ignored.
        Returns:
            gain, V/V.
        Raises:
            UsageError: a needed control is missing or has a value that the stage cannot take.
        Source:
            named by each kind.
        """

    def energised(self, controls: Controls) -> frozenset[str]:
        """Which relays of the stage carry coil current.

        Args:
            controls: at least the controls of `needs`.
        Returns:
            names of relays; empty for a stage without any.
        Raises:
            UsageError: a needed control is missing or has a value that the stage cannot take.
        Source:
            the stage's parameters in the device file.
        """
        return frozenset()


class CodeStage(StageKind):
    """A stage set by a number in the control word, whose gain can be turned round into the code."""

    @abstractmethod
    def exact_code(self, gain_ratio: float) -> float:
        """At which code, not rounded, the stage would have a gain.

        Args:
            gain_ratio: wanted gain, V/V, > 0.
        Returns:
            code, a real number, legal or not.
        Source:
            the inverse of `gain_ratio` of the same kind.
        """


def number_of(controls: Controls, name: str) -> int:
    """The value of a control that is a number.

    Args:
        controls: of one state.
        name: of the control.
    Returns:
        its value.
    Raises:
        UsageError: the control is missing, or is no whole number.
    Source:
        none: a look-up.
    """
    value = controls.get(name)
    if not isinstance(value, int):
        raise UsageError(f"control {name}: got {value!r}; allowed is a whole number: name it among the controls")
    return value


def position_of(controls: Controls, name: str, positions: Sequence[str]) -> str:
    """The value of a control that is one of named positions.

    Args:
        controls: of one state.
        name: of the control.
        positions: legal values.
    Returns:
        its value.
    Raises:
        UsageError: the control is missing, or is none of the positions.
    Source:
        none: a look-up.
    """
    value = controls.get(name)
    if not isinstance(value, str) or value not in positions:
        raise UsageError(f"control {name}: got {value!r}; allowed is one of {', '.join(map(repr, positions))}")
    return value
