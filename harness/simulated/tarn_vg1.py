"""Tarn VG-1: a bare gain board, read by an acquisition instrument; its words come from the bus adapter."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar, Literal

from pydantic import Field, model_validator

from harness.simulated.firmware import Plan
from harness.simulated.linear_parts import LinearParts
from harness.simulated.parameters import (
    BusTruth,
    ConverterTruth,
    Name,
    NoiseTruth,
    NotNegative,
    Percent,
    Positive,
    Share,
    SpreadTruth,
    Truth,
)
from harness.simulated.parts import common_parts, error
from harness.simulated.streams import Seed, within
from harness.simulated.unit import FIRMWARE_FAULTS, RELAY_FAULTS, UnitTruth


class TarnGain(Truth):
    """The nominal path of a channel."""

    pregain_ratio: Positive = 7.0795
    per_code_ratio: Positive = 0.11148818897637795
    code_bits: int = Field(default=7, ge=2, le=12)
    loading_ratio: Positive = 0.5
    bandwidth_hz: Positive = 5.0e6
    gain_bandwidth_hz: Positive = 2.0e8
    power_on_code: int = Field(default=1, ge=0)


class TarnSpread(SpreadTruth):
    """Half-widths."""

    pregain_percent: Percent = 0.15
    bit_percent: Percent = 0.02
    carry_percent: Percent = 0.05
    zero_code: NotNegative = 0.01


class TarnConverter(ConverterTruth):
    """The acquisition instrument's converter, driven by the board's output stage."""

    compression_percent: Percent = 0.05
    compression: Literal["cubic", "tanh"] = "tanh"


class TarnNoise(NoiseTruth):
    """At the top the input's noise shows."""

    input_v: NotNegative = 10.0e-6


class TarnBus(BusTruth):
    """Two gain devices, and nobody else talks."""

    lines: tuple[Name, ...] = Field(default=("data", "clock", "latch-1", "latch-2"), min_length=3, max_length=8)
    idle_edges: int = Field(default=0, ge=0)
    idle_ratio: Share = 0.0


class TarnTruth(UnitTruth):
    """Board and acquisition instrument."""

    lacks: ClassVar[Mapping[str, str]] = dict.fromkeys(RELAY_FAULTS, "the board has no relays") | dict.fromkeys(
        FIRMWARE_FAULTS, "the board has no firmware; its words are loaded through the adapter"
    )

    manufacturer: Name = "Tarn"
    model: Name = "VG-1"
    serial: Name = "TA000001"
    channels: int = Field(default=2, ge=1, le=4)
    gain: TarnGain = TarnGain()
    converter: TarnConverter = TarnConverter()
    spread: TarnSpread = TarnSpread()
    noise: TarnNoise = TarnNoise()
    bus: TarnBus = TarnBus()

    @model_validator(mode="after")
    def _power_on(self) -> TarnTruth:
        if self.gain.power_on_code >= 2**self.gain.code_bits:
            raise ValueError(f"gain.power_on_code below {2**self.gain.code_bits}")
        return self

    @property
    def code_bits(self) -> int:
        """As the tables say."""
        return self.gain.code_bits

    @property
    def word_bits(self) -> int:
        """Pre-gain bit and code."""
        return self.gain.code_bits + 1

    @property
    def power_on_word(self) -> int:
        """Without pre-gain."""
        return self.gain.power_on_code

    @property
    def most_word(self) -> int:
        """Pre-gain and full code."""
        return int(2**self.word_bits) - 1

    @property
    def axes(self) -> None:
        """No commands set the gain."""
        return None

    def plan(self, coarse: int, fine: int) -> Plan:
        """Nobody decides anything; the instrument displays volts at its converter."""
        del coarse, fine
        return Plan(word=self.power_on_word, word_bits=self.word_bits, gain_codes_per_v=self.converter.codes_per_v)

    def draw(self, channel: int, seed: Seed) -> LinearParts:
        """A good channel."""
        gain, spread = self.gain, self.spread
        return LinearParts(
            **common_parts(self, channel, seed),
            pregain_ratio=gain.pregain_ratio * (1.0 + error(seed, channel, "pre-gain", spread.pregain_percent)),
            per_code_ratio=gain.per_code_ratio,
            bit_error_ratio=tuple(error(seed, channel, f"bit {k}", spread.bit_percent) for k in range(gain.code_bits)),
            carry_ratio=1.0 + error(seed, channel, "major carry", spread.carry_percent),
            zero_code=within(seed, f"channel-{channel}/zero", spread.zero_code),
            loading_ratio=gain.loading_ratio,
            bandwidth_hz=gain.bandwidth_hz,
            gain_bandwidth_hz=gain.gain_bandwidth_hz,
        )
