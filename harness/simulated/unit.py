"""What every simulated device is: tables of numbers, and the few things in which devices differ."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal

from pydantic import Field, model_validator

from harness.simulated.firmware import Plan
from harness.simulated.parameters import (
    BusTruth,
    ConverterTruth,
    IdentityTruth,
    NoiseTruth,
    Percent,
    Positive,
    SpreadTruth,
    TimingTruth,
)
from harness.simulated.parts import ChannelParts
from harness.simulated.streams import Seed
from harness.simulated.value import Units

RELAY_FAULTS = (
    "relay-not-picking",
    "relay-stuck-on",
    "relay-contact-film",
    "relay-settles-late",
    "relay-drivers-swapped",
    "attenuator-resistor-wrong",
    "attenuator-compensation-wrong",
)
"""Faults that need relays."""
FIRMWARE_FAULTS = (
    "word-table-row-wrong",
    "fine-gain-arithmetic",
    "calibration-of-another-unit",
    "scale-row-wrong",
    "scale-not-updated",
    "autorange-on",
)
"""Faults that need a unit with settings of its own."""
PAIR_FAULTS = ("latches-crossed", "latch-broadcast", "channel-crosstalk", "cables-swapped")
"""Faults that need two channels."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One of the two settings that commands make: coarse or fine."""

    pattern: str
    """The command, such as `INPut#:RANGe`; the suffix is the channel."""
    units: Units
    values: tuple[float, ...]
    """What it may be set to, by index."""


class UnitTruth(IdentityTruth, ABC):
    """The device under test. A new one derives from this and goes into `build.DEVICES`."""

    lacks: ClassVar[Mapping[str, str]] = {}
    """Product faults that this device cannot have, each with the reason."""
    keeps_constants: ClassVar[bool] = False
    """Whether the device keeps a correction constant for each range."""

    channels: int = Field(ge=1, le=4)
    input_ohm: Positive = 1.0e6
    record: Literal["codes", "volts"] = "codes"
    """What a record is handed over as: raw codes, or volts in single precision by the displayed scale."""
    input_most_vpk: Positive = 30.0
    """What the unit says that its input bears."""
    coupling: Literal["dc", "ac"] = "dc"
    """Whether a steady level passes the input."""
    crosstalk_percent: Percent = 0.02
    """Share of a channel's output that couples into each other one's, where that channel has a source of its own."""
    max_rate_hz: Positive = 1.0e6
    max_points: int = Field(default=1_000_000, ge=64)
    converter: ConverterTruth = ConverterTruth()
    spread: SpreadTruth = SpreadTruth()
    noise: NoiseTruth = NoiseTruth()
    timing: TimingTruth = TimingTruth()
    bus: BusTruth

    @model_validator(mode="after")
    def _latches(self) -> UnitTruth:
        bias = bool(self.bus.bias_bits)
        if len(self.bus.lines) != self.channels + 2 + bias:
            raise ValueError(f"bus.lines: data, clock, a latch for each channel{', the bias latch' if bias else ''}")
        return self

    @property
    @abstractmethod
    def code_bits(self) -> int:
        """Width of the gain code, the lowest bits of the word."""

    @property
    @abstractmethod
    def word_bits(self) -> int:
        """Length of a channel's word."""

    @property
    @abstractmethod
    def power_on_word(self) -> int:
        """In the gain registers until the first word is latched."""

    @property
    def pregain_bit(self) -> int:
        """Place in the word of the bit that switches the pre-gain."""
        return self.code_bits

    @property
    def relay_names(self) -> tuple[str, ...]:
        """All relays of a channel; a unit without them has none."""
        return ()

    @property
    @abstractmethod
    def most_word(self) -> int:
        """The word of the most sensitive setting."""

    @property
    @abstractmethod
    def axes(self) -> tuple[Axis, Axis] | None:
        """Coarse and fine as commands set them; None for a bare gain stage, whose words come from outside."""

    @abstractmethod
    def plan(self, coarse: int, fine: int) -> Plan:
        """What the firmware does for a setting; without firmware, how the device lies there unset."""

    @abstractmethod
    def draw(self, channel: int, seed: Seed) -> ChannelParts:
        """A good channel: each part from a random stream of its own."""
