"""Faults of the fine gain: load, bit weights, carry, resistors and references that set the scale."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.parts import ChannelParts
from harness.simulated.scene import Scene

DRIFT_TAU_S = 20.0
"""Time constant of a reference that drifts: of the order of one ladder."""


class LoadResistorMissing(Fault):
    """The load resistor of the gain stage's output is missing."""

    entry = FaultEntry(
        id="F30",
        name="load-resistor-missing",
        kind="product",
        does="the load resistor behind the gain stage is missing",
        shows="gain times the size on every setting",
        size="factor of the gain",
        default_size=2.0,
        low=0.01,
        high=100.0,
    )

    def parts(self, parts: ChannelParts) -> ChannelParts:
        """Without the divider that source and load form."""
        return replace(parts, loading_ratio=parts.loading_ratio * (self.size or 1.0))


class BitWeightWrong(Fault):
    """One leg of the ladder is wrong."""

    entry = FaultEntry(
        id="F31",
        name="bit-weight-wrong",
        kind="product",
        does="the weight of one bit of the code is wrong",
        shows="gain off where the bit is set, the more the smaller the code; a step at each carry into the bit",
        size="error of the weight, percent",
        default_size=1.84,
        low=-100.0,
        high=100.0,
        second="bit, 0 is the least significant",
        default_second=4,
        second_low=0,
        second_high=11,
    )

    def parts(self, parts: ChannelParts) -> ChannelParts:
        """With the wrong leg."""
        bits = self.unit.code_bits if self.unit else 1
        return parts.with_bit(min(round(self.second or 0), bits - 1), (self.size or 0.0) / 100.0)


class MajorCarryStep(Fault):
    """A step where the top bit comes in."""

    entry = FaultEntry(
        id="F32",
        name="major-carry-step",
        kind="product",
        does="the gain steps where the top bit of the code comes in",
        shows="one step wrong, from 2^(n-1) - 1 to 2^(n-1); linear on both sides of it",
        size="step, percent",
        default_size=0.6,
        low=-50.0,
        high=50.0,
    )

    def parts(self, parts: ChannelParts) -> ChannelParts:
        """With the step."""
        return parts.with_carry((self.size or 0.0) / 100.0)


class _Constant(Fault):
    """One factor on all gains of the channel."""

    def gain_ratio(self, scene: Scene) -> float:
        """The same always."""
        del scene
        return 1.0 + (self.size or 0.0) / 100.0


class LoadResistorWrong(_Constant):
    """A wrong load or feedback resistor."""

    entry = FaultEntry(
        id="F33",
        name="load-resistor-wrong",
        kind="product",
        does="a load or feedback resistor of the gain stage has a wrong value",
        shows="gain off by the size on every setting; the clip level does not move",
        size="error of the gain, percent",
        default_size=4.0,
        low=-90.0,
        high=900.0,
    )


class ExternalFeedbackResistor(Fault):
    """An outside resistor does not follow the inner ones."""

    entry = FaultEntry(
        id="F34",
        name="external-feedback-resistor",
        kind="product",
        does="an outside resistor is used instead of the matched one inside",
        shows="gain off by the size on every setting, and it falls with temperature",
        size="error of the gain, percent",
        default_size=20.0,
        low=-90.0,
        high=900.0,
        second="temperature coefficient, ppm/K",
        default_second=-300.0,
        second_low=-5000.0,
        second_high=5000.0,
    )

    def gain_ratio(self, scene: Scene) -> float:
        """Now and warm."""
        return (1.0 + (self.size or 0.0) / 100.0) * (1.0 + (self.second or 0.0) * 1e-6 * scene.warmer_k)


class ReferenceWrong(Fault):
    """The reference of the gain stages is wrong, or drifts."""

    entry = FaultEntry(
        id="F35",
        name="reference-wrong",
        kind="product",
        does="the reference that all gain stages share is wrong, or drifts",
        shows="gain of all channels off by one factor, which changes with time",
        size="error of the gain, percent",
        default_size=4.0,
        low=-90.0,
        high=900.0,
        second=f"drift, percent, with a time constant of {DRIFT_TAU_S:g} s",
        default_second=0.0,
        second_low=-50.0,
        second_high=50.0,
        takes_channel=False,
    )

    def gain_ratio(self, scene: Scene) -> float:
        """Now and later."""
        drifted = (self.second or 0.0) * -math.expm1(-scene.elapsed_s / DRIFT_TAU_S)
        return 1.0 + ((self.size or 0.0) + drifted) / 100.0


class TemperatureCompensationMissing(Fault):
    """Nothing compensates the temperature coefficient of the gain."""

    entry = FaultEntry(
        id="F36",
        name="temperature-compensation-missing",
        kind="product",
        does="the element that compensates the gain over temperature is missing",
        shows="gain falls with temperature",
        size="temperature coefficient of the gain, ppm/K",
        default_size=-3300.0,
        low=-10000.0,
        high=10000.0,
    )

    def gain_ratio(self, scene: Scene) -> float:
        """Away from the reference temperature."""
        return 1.0 + (self.size or 0.0) * 1e-6 * scene.warmer_k


FAULTS: Final[tuple[type[Fault], ...]] = (
    LoadResistorMissing,
    BitWeightWrong,
    MajorCarryStep,
    LoadResistorWrong,
    ExternalFeedbackResistor,
    ReferenceWrong,
    TemperatureCompensationMissing,
)
