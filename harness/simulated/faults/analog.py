"""Faults of amplifiers and signal path that a ladder at one level and one frequency hardly sees."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np

from harness.simulated.converter import Samples
from harness.simulated.fault import Fault, FaultEntry
from harness.simulated.parts import ChannelParts
from harness.simulated.scene import Scene

LEVELS = (0.4, 0.8)
"""The two fills between which compression is stated."""
EARLY_S, LATE_S = 0.01, 1.0
"""The two times after a change between which slow settling is stated."""
UPPER_HZ = 100.0e3
NEARLY_NOTHING = 1.0e-4
"""What still couples over an open joint."""


class OutputCompression(Fault):
    """The output stage bends early."""

    entry = FaultEntry(
        id="F37",
        name="output-compression",
        kind="product",
        does="the output stage has little headroom: its gain falls with the level",
        shows="gain lower at high fill than at low fill, third harmonic; a ladder at constant fill does not see it",
        size="gain at fill 0.8 over gain at fill 0.4, minus 1, percent",
        default_size=-1.0,
        low=-30.0,
        high=0.0,
    )

    def bend(self, volts: Samples, full_v: float) -> Samples:
        """x - k x^3, whose fundamental falls by 3/4 k x^2."""
        low, high = LEVELS
        cubic = -(self.size or 0.0) / 100.0 / (0.75 * (high**2 - low**2)) / full_v**2
        return np.asarray(volts * (1.0 - cubic * volts * volts), dtype=np.float64)


class InputOffset(Fault):
    """Offset before the gain."""

    entry = FaultEntry(
        id="F38",
        name="input-offset",
        kind="product",
        does="the gain stage has an offset at its input",
        shows="offset of the record grows with the gain; large ones clip on one side and force another level",
        size="offset at the highest gain, percent of the converter's span",
        default_size=15.0,
        low=-50.0,
        high=50.0,
    )

    def parts(self, parts: ChannelParts) -> ChannelParts:
        """With the offset."""
        if self.unit is None:
            return parts
        converter = self.unit.converter
        offset_v = (self.size or 0.0) / 100.0 * 2.0**converter.bits / converter.codes_per_v
        return replace(parts, offset_in_v=parts.offset_in_v + offset_v / parts.word_gain(self.unit.most_word))


class OutputOffset(Fault):
    """Offset behind the gain."""

    entry = FaultEntry(
        id="F39",
        name="output-offset",
        kind="product",
        does="there is an offset behind the gain stage",
        shows="offset of the record is the same at all gains; large ones clip on one side and force another level",
        size="offset, percent of the converter's span",
        default_size=15.0,
        low=-50.0,
        high=50.0,
    )

    def parts(self, parts: ChannelParts) -> ChannelParts:
        """With the offset."""
        bits = self.unit.converter.bits if self.unit else 0
        return replace(parts, offset_out_code=parts.offset_out_code + (self.size or 0.0) / 100.0 * 2.0**bits)


class BandwidthFallsWithGain(Fault):
    """A slow amplifier."""

    entry = FaultEntry(
        id="F43",
        name="bandwidth-falls-with-gain",
        kind="product",
        does="the gain stage is too slow: its corner frequency falls with the gain",
        shows="gain low at high frequency, the more the higher the gain",
        size="100 kHz over the corner frequency at the highest gain",
        default_size=0.5,
        high=100.0,
    )

    def gain_ratio(self, scene: Scene) -> float:
        """One more pole."""
        relative = scene.frequency_hz / UPPER_HZ * (self.size or 0.0) * scene.word_gain_ratio / scene.most_gain_ratio
        return 1.0 / math.hypot(1.0, relative)


class SlowSettling(Fault):
    """A thermal tail, or dielectric absorption."""

    entry = FaultEntry(
        id="F44",
        name="slow-settling",
        kind="product",
        does="after a change the gain creeps for a second, evenly over the logarithm of time",
        shows="the same setting differs after 10 ms, 100 ms and 1 s; up and down differ",
        size="change from 10 ms to 1 s, percent",
        default_size=0.6,
        low=-20.0,
        high=20.0,
    )

    def gain_ratio(self, scene: Scene) -> float:
        """What is still missing."""
        if scene.since_move_s >= LATE_S:
            return 1.0
        decades = math.log10(LATE_S / max(scene.since_move_s, EARLY_S / 10.0))
        return 1.0 - (self.size or 0.0) / 100.0 * decades / math.log10(LATE_S / EARLY_S)


class IntermittentJoint(Fault):
    """A cold joint."""

    entry = FaultEntry(
        id="F45",
        name="intermittent-joint",
        kind="product",
        does="a joint of the signal path opens now and then for a whole record",
        shows="rare records without a signal, at random settings",
        size="probability for each record",
        default_size=0.015,
        high=1.0,
    )

    def begin_record(self, channel: int) -> None:
        """Open or not."""
        self._held[channel] = float(self.dice.random()) < self.chance * (self.size or 0.0)

    def holds(self, channel: int) -> bool:
        """While open."""
        return self.begun and self._held.get(channel, False)

    def gain_ratio(self, scene: Scene) -> float:
        """Next to nothing comes through."""
        del scene
        return NEARLY_NOTHING


class ChannelCrosstalk(Fault):
    """Channels couple."""

    entry = FaultEntry(
        id="F46",
        name="channel-crosstalk",
        kind="product",
        does="a share of the outputs of the other channels gets into this one",
        shows="gain off in proportion to the gain of the other channels over its own, when all hang on one source",
        size="coupling, dB",
        default_size=-30.0,
        low=-160.0,
        high=0.0,
    )

    def gain_ratio(self, scene: Scene) -> float:
        """One source, so one phase: what couples adds up."""
        return 1.0 + self.coupling_ratio() * scene.other_gain_ratio / scene.own_gain_ratio

    def coupling_ratio(self) -> float:
        """From a channel with a source of its own too."""
        return math.pow(10.0, (self.size or 0.0) / 20.0)


class SupplyRailLow(Fault):
    """A supply rail of the amplifiers is low."""

    entry = FaultEntry(
        id="F47",
        name="supply-rail-low",
        kind="product",
        does="the positive supply of the output stage is low",
        shows="positive peaks clip below the converter's full scale; nothing at lower levels",
        size="clip level below the converter's full scale, percent",
        default_size=20.0,
        high=90.0,
    )

    def bend(self, volts: Samples, full_v: float) -> Samples:
        """Flat tops."""
        return np.minimum(volts, full_v * (1.0 - (self.size or 0.0) / 100.0))


class LeakyClamp(Fault):
    """A protection diode leaks."""

    entry = FaultEntry(
        id="F48",
        name="leaky-clamp",
        kind="product",
        does="a protection diode takes current from positive peaks",
        shows="gain lower for one polarity and at higher levels; even harmonics",
        size="difference of the polarities at full scale, percent",
        default_size=2.0,
        high=50.0,
    )

    def bend(self, volts: Samples, full_v: float) -> Samples:
        """One half wave only."""
        leaking = np.maximum(volts, 0.0)
        return np.asarray(volts - (self.size or 0.0) / 100.0 / full_v * leaking * leaking, dtype=np.float64)


class CouplingCapacitorWrong(Fault):
    """A coupling capacitor is too small."""

    entry = FaultEntry(
        id="F49",
        name="coupling-capacitor-wrong",
        kind="product",
        does="a coupling capacitor of the signal path is too small",
        shows="gain low at low frequency (20 Hz), right at 1 kHz and above",
        size="corner frequency, Hz",
        default_size=10.0,
        high=1.0e6,
    )

    def gain_ratio(self, scene: Scene) -> float:
        """High pass of first order."""
        return 1.0 / math.hypot(1.0, (self.size or 0.0) / scene.frequency_hz)


class InputResistorWrong(Fault):
    """The input resistance is wrong."""

    entry = FaultEntry(
        id="F50",
        name="input-resistor-wrong",
        kind="product",
        does="the resistor to ground at the input has a wrong value, or is open",
        shows="nothing from a source of 50 ohm; through a large series resistor the gain is off",
        size="error of the input resistance, percent (1e6 for open)",
        default_size=11.7,
        low=-90.0,
        high=1.0e6,
    )

    def load_ohm(self, inputs_ohm: float) -> float:
        """One input, or all, among those that hang on the source."""
        if self.unit is None:
            return inputs_ohm
        change = 1.0 / (self.unit.input_ohm * (1.0 + (self.size or 0.0) / 100.0)) - 1.0 / self.unit.input_ohm
        faulty = 1 if self.channel else self.unit.channels
        return 1.0 / max(1.0 / inputs_ohm + faulty * change, 1.0e-12)


FAULTS: Final[tuple[type[Fault], ...]] = (
    OutputCompression,
    InputOffset,
    OutputOffset,
    BandwidthFallsWithGain,
    SlowSettling,
    IntermittentJoint,
    ChannelCrosstalk,
    SupplyRailLow,
    LeakyClamp,
    CouplingCapacitorWrong,
    InputResistorWrong,
)
