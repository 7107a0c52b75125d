"""What every kind of stage promises."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np
import numpy.typing as npt

from harness.config.model import Table
from harness.law.stages.control import Arrays, Control, Controls, array_of

Floats = npt.NDArray[np.float64]
Term = Floats | float
"""One number for each setting, or one number for all."""

LN_PER_DB = float(np.log(10.0)) / 20.0
"""ln of the gain for each decibel."""


@dataclass(frozen=True, slots=True)
class Flaw:
    """A parameter that contradicts another one of its stage."""

    key: str
    got: str
    allowed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameter:
    """A number behind a stage's gain that may be off, and how off it may be said to be."""

    name: str
    """Key under `tolerance`, such as `1:10` or `gain_per_code`."""
    nominal: float
    """In its own unit."""
    unit: Literal["percent", "dB", "lsb"] = "percent"
    """Of its tolerance: percent of itself, decibels, code steps."""
    independent: bool = False
    """Whether it is drawn anew for every setting."""
    fitted: str = ""
    """What a fit calls it; empty when no fit can tell it from the gain of the whole path."""
    reference: bool = False
    """Whether a fit holds it: the position that the others of its stage are relative to."""
    weight: bool = False
    """Whether it is the weight of a bit, which a fit leaves alone unless asked."""


SETTING = (
    Parameter(name="setting", nominal=1.0, independent=True),
    Parameter(name="setting_db", nominal=0.0, unit="dB", independent=True),
)
"""Of every kind: an error of its own in each setting."""


class StageKind(Table, ABC):
    """The parameters of one stage, and what it does; keys it does not know are refused."""

    kind: ClassVar[str]
    """The word after `kind =` in the device file."""
    domain: ClassVar[Literal["analog", "converter", "arithmetic"]] = "analog"
    """Where the gain is made: in front of the converter, inside it, or behind it by arithmetic."""

    def needs(self) -> tuple[Control, ...]:
        """Which controls the gain depends on, with their legal values.

        Returns:
            one entry per control; empty for a fixed stage.
        """
        return ()

    def flaws(self) -> tuple[Flaw, ...]:
        """Which parameters, each legal by itself, contradict each other.

        Returns:
            empty for a sound stage; a stage with flaws must not be used.
        """
        return ()

    @abstractmethod
    def gains_ratio(self, arrays: Arrays) -> Term:
        """Which gain the stage has, nominal, for many values of its controls at once.

        Args:
            arrays: at least the controls of `needs`, all of one shape: numbers as they are, named positions by index,
                -1 for a code that no position has.
        Returns:
            gain, V/V, of the same shape or one number for all; 0 where there is no gain that could be predicted.
        """

    def parameters(self) -> tuple[Parameter, ...]:
        """What may be off beside `setting` and `setting_db`.

        Returns:
            one entry per parameter, in the order of `sensitivities`.
        """
        return ()

    def sensitivities(self, arrays: Arrays, changes: Mapping[str, float]) -> dict[str, Term]:
        """How ln of the gain moves with each parameter.

        Args:
            arrays: as in `gains_ratio`.
            changes: where the parameters stand, relative to nominal; only where a gain is not a product of powers.
        Returns:
            by parameter: for each unit of relative change, dB or code step, as its unit says.
        """
        return {}

    def log_change(self, arrays: Arrays, changes: Mapping[str, float]) -> Term:
        """How far ln of the gain is from nominal when parameters are off.

        Args:
            arrays: as in `gains_ratio`.
            changes: relative change by parameter, such as 0.01.
        Returns:
            change of ln of the gain.
        """
        known = self.sensitivities(arrays, {})
        total: Term = 0.0
        for name, change in changes.items():
            total = total + known[name] * change
        return total

    def gain_ratio(self, controls: Controls) -> float:
        """Which gain the stage has, nominal, in one state.

        Args:
            controls: at least the controls of `needs`; others are ignored.
        Returns:
            gain, V/V.
        Raises:
            UsageError: a needed control is missing or has a value that the stage cannot take.
        """
        return float(self.gains_ratio({control.name: array_of(control, controls) for control in self.needs()}))

    def coils(self) -> frozenset[str]:
        """Which relays the stage has.

        Returns:
            their names.
        """
        return frozenset()

    def energised(self, controls: Controls) -> frozenset[str]:
        """Which relays of the stage carry coil current.

        Args:
            controls: at least the controls of `needs`.
        Returns:
            names of relays; empty for a stage without any.
        Raises:
            UsageError: a needed control is missing or has a value that the stage cannot take.
        """
        return frozenset()

    def position_of_relays(self, energised: frozenset[str]) -> dict[str, str]:
        """Which position relays stand for.

        Args:
            energised: all relays of the path that carry coil current.
        Returns:
            control and position; empty where the stage has no relays, or no position has exactly these.
        """
        return {}


class CodeStage(StageKind):
    """A stage set by a number in the control word, whose gain can be turned round into the code."""

    @property
    @abstractmethod
    def falling(self) -> bool:
        """Whether the gain falls as the code rises."""

    @abstractmethod
    def exact_codes(self, gains_ratio: Floats) -> Floats:
        """At which codes, not rounded, the stage would have gains.

        Args:
            gains_ratio: wanted gains, V/V, > 0.
        Returns:
            codes, real numbers, legal or not; the inverse of `gains_ratio` of the same kind.
        """

    def exact_code(self, gain_ratio: float) -> float:
        """At which code, not rounded, the stage would have a gain; one of `exact_codes`."""
        return float(self.exact_codes(np.asarray([gain_ratio], dtype=np.float64))[0])
