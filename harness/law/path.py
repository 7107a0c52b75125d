"""The signal path: stages in a row, converter last; the gain is their product."""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.law.stages import CodeStage, Control, Controls, StageKind


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalPath:
    """Stages from the input on, and the converter behind them."""

    stages: tuple[StageKind, ...]
    codes_per_v: float
    """Codes a volt at the converter."""

    def controls(self) -> dict[str, Control]:
        """Which controls the gain depends on.

        Returns:
            control by name, in order of the path; one that several stages share as the first of them has it.
        Source:
            the stages' parameters in the device file.
        """
        found: dict[str, Control] = {}
        for stage in self.stages:
            for control in stage.needs():
                found.setdefault(control.name, control)
        return found

    def gain_codes_per_v(self, controls: Controls) -> float:
        """Which gain the hardware has, from the input to the code.

        Args:
            controls: a value for each control of `controls()`.
        Returns:
            codes a volt at the input, arithmetic excluded.
        Raises:
            UsageError: a control is missing or has a value that its stage cannot take.
        Source:
            product of a cascade whose loading is a stage of its own.
        """
        return math.prod([stage.gain_ratio(controls) for stage in self.stages], start=self.codes_per_v)

    def energised(self, controls: Controls) -> frozenset[str]:
        """Which relays carry coil current.

        Args:
            controls: a value for each control of `controls()`.
        Returns:
            names of relays.
        Raises:
            UsageError: a control is missing or has a value that its stage cannot take.
        Source:
            the stages' parameters in the device file.
        """
        return frozenset().union(*(stage.energised(controls) for stage in self.stages))

    def code_stage(self, control: str) -> CodeStage | None:
        """The one stage that a code sets.

        Args:
            control: name of the code's control.
        Returns:
            the stage; None unless exactly one stage needs the control and its gain can be turned round into a code.
        Source:
            none: a look-up.
        """
        users = [stage for stage in self.stages if control in [need.name for need in stage.needs()]]
        return users[0] if len(users) == 1 and isinstance(users[0], CodeStage) else None

    def exact_code(self, code: CodeStage, controls: Controls, wanted_codes_per_v: float) -> float:
        """At which code, not rounded, the path would have a gain.

        Args:
            code: the stage to be set, one of `stages`.
            controls: a value for every other control.
            wanted_codes_per_v: wanted gain, codes a volt at the input, > 0.
        Returns:
            code, a real number, legal or not; infinite where the rest of the path has no gain.
        Raises:
            UsageError: a control is missing or has a value that its stage cannot take.
        Source:
            the product of the path, solved for one factor.
        """
        others = math.prod(
            [stage.gain_ratio(controls) for stage in self.stages if stage is not code], start=self.codes_per_v
        )
        return code.exact_code(wanted_codes_per_v / others) if others > 0.0 else math.inf
