"""Corrie UR-2: an ultrasonic receiver, sections of 20 dB and a gain linear in dB, all set by one word."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator

from harness.simulated.firmware import Plan, nearest
from harness.simulated.parameters import (
    BusTruth,
    Name,
    NoiseTruth,
    NotNegative,
    Percent,
    Positive,
    SpreadTruth,
    TimingTruth,
    Truth,
)
from harness.simulated.parts import ChannelParts, common_parts, error
from harness.simulated.streams import Seed, stream
from harness.simulated.unit import PAIR_FAULTS, Axis, UnitTruth
from harness.simulated.value import DECIBEL

_SECTION_BITS, _STAGE_BITS, _SPARE_BITS = 2, 1, 1


class CorrieRange(Truth):
    """One coarse gain: which section of the first amplifier, and whether the second one is in."""

    gain_db: float
    section: int = Field(ge=0)
    second: Annotated[int, Field(ge=0, le=1)]


class CorrieGain(Truth):
    """The nominal path, input first."""

    section_ratio: tuple[Positive, ...] = Field(default=(1.0, 10.0, 100.0), min_length=1, max_length=4)
    section_relay: tuple[str, ...] = ("", "K1", "K2")
    section_bandwidth_hz: tuple[Positive, ...] = (6.0e6, 3.0e6, 1.5e6)
    second_ratio: Positive = 100.0
    second_bandwidth_hz: Positive = 1.5e6
    base_ratio: Positive = 0.06476344648024841
    db_per_code: Positive = 0.05
    code_bits: int = Field(default=12, ge=2, le=12)
    first_code: int = Field(default=200, ge=0)
    ripple_db: NotNegative = 0.1
    ripple_period_code: Positive = 120.0
    loading_ratio: Positive = 0.5
    power_on_code: int = Field(default=400, ge=0)


class CorrieSpread(SpreadTruth):
    """Half-widths."""

    common_percent: Percent = 0.3
    offset_in_v: NotNegative = 0.0
    section_percent: Percent = 0.15
    second_percent: Percent = 0.15
    slope_percent: Percent = 0.1


class CorrieNoise(NoiseTruth):
    """Mostly of the first amplifier."""

    input_v: NotNegative = 0.3e-6


class CorrieTiming(TimingTruth):
    """Small, fast relays."""

    relay_tau_s: Positive = 0.00003
    bounce_s: NotNegative = 0.0004
    relay_complete_s: NotNegative = 0.002


class CorrieBus(BusTruth):
    """One gain device."""

    lines: tuple[Name, ...] = Field(default=("data", "clock", "latch-1"), min_length=3, max_length=8)
    idle_edges: int = Field(default=2, ge=0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CorrieParts(ChannelParts):
    """A channel: sections switched by relays, a second amplifier, a gain linear in dB."""

    section_ratio: tuple[float, ...]
    section_relay: tuple[str, ...]
    section_bandwidth_hz: tuple[float, ...]
    second_bandwidth_hz: float
    base_ratio: float
    """V/V at code 0 of the first section, output open."""
    db_per_code: float
    code_bits: int
    ripple_db: float
    ripple_period_code: float
    ripple_phase_rad: float
    bit_error_ratio: tuple[float, ...] = ()
    """Relative error of each bit weight, least significant first; left out: none."""
    carry_bit: int = 0
    """The largest bit that some codes in use have and others have not."""
    carry_ratio: float = 1.0

    def relays(self, driven: frozenset[str], word: int) -> frozenset[str]:
        """The section's, behind the shift register of the word."""
        del driven
        section = word >> (self.code_bits + _SPARE_BITS + _STAGE_BITS)
        relay = self.section_relay[section] if section < len(self.section_relay) else ""
        return frozenset({relay} if relay else ())

    def relay_gain(self, picked: frozenset[str]) -> float:
        """Of the section whose relay has picked."""
        return self.section_ratio[self._section(picked)]

    def with_bit(self, bit: int, error_ratio: float) -> CorrieParts:
        """One bit of the code."""
        errors = list(self.bit_error_ratio or (0.0,) * self.code_bits)
        errors[bit] += error_ratio
        return replace(self, bit_error_ratio=tuple(errors))

    def with_carry(self, error_ratio: float) -> CorrieParts:
        """A step of the gain where the largest bit in use comes in."""
        return replace(self, carry_ratio=self.carry_ratio * (1.0 + error_ratio))

    def word_gain(self, word: int) -> float:
        """Second amplifier and code: an exponential with a ripple periodic in the code."""
        whole = word & (2**self.code_bits - 1)
        code = whole + sum(2.0**k * e for k, e in enumerate(self.bit_error_ratio) if whole >> k & 1)
        ripple_db = self.ripple_db * math.sin(2.0 * math.pi * code / self.ripple_period_code + self.ripple_phase_rad)
        exponential = math.pow(10.0, (self.db_per_code * code + ripple_db) / 20.0)
        second = self.pregain_ratio if self._second(word) else 1.0
        second *= self.carry_ratio if whole >> self.carry_bit & 1 else 1.0
        return second * self.base_ratio * exponential * self.loading_ratio * self.common_ratio

    def corner_hz(self, picked: frozenset[str], word: int) -> float:
        """Of the amplifiers that are in the path; the faster, the less gain."""
        inverse = 1.0 / self.section_bandwidth_hz[self._section(picked)]
        return 1.0 / (math.hypot(inverse, 1.0 / self.second_bandwidth_hz) if self._second(word) else inverse)

    def noise_gain(self, picked: frozenset[str], word: int) -> float:
        """Noise enters before the first amplifier."""
        return self.relay_gain(picked) * self.word_gain(word)

    def _section(self, picked: frozenset[str]) -> int:
        return next((index for index, relay in enumerate(self.section_relay) if relay and relay in picked), 0)

    def _second(self, word: int) -> bool:
        return bool(word >> (self.code_bits + _SPARE_BITS) & 1)


def _ranges() -> tuple[CorrieRange, ...]:
    rows = ((0.0, 0, 0), (20.0, 1, 0), (40.0, 2, 0), (60.0, 1, 1), (80.0, 2, 1))
    return tuple(CorrieRange(gain_db=gain_db, section=section, second=second) for gain_db, section, second in rows)


class CorrieTruth(UnitTruth):
    """The whole unit."""

    lacks: ClassVar[Mapping[str, str]] = dict.fromkeys(PAIR_FAULTS, "it has one channel, and the fault needs two") | {
        "relay-drivers-swapped": "its relays hang on bits of the word: see data-bits-swapped"
    }

    manufacturer: Name = "Corrie"
    model: Name = "UR-2"
    serial: Name = "CO000001"
    channels: int = Field(default=1, ge=1, le=4)
    coupling: Literal["dc", "ac"] = "ac"
    input_most_vpk: Positive = 20.0
    max_rate_hz: Positive = 2.0e6
    range: tuple[CorrieRange, ...] = Field(default_factory=_ranges, min_length=1)
    fine_last_db: Positive = 20.0
    fine_count: int = Field(default=41, ge=2)
    gain: CorrieGain = CorrieGain()
    spread: CorrieSpread = CorrieSpread()
    noise: CorrieNoise = CorrieNoise()
    timing: CorrieTiming = CorrieTiming()
    bus: CorrieBus = CorrieBus()

    @model_validator(mode="after")
    def _sections(self) -> CorrieTruth:
        gain = self.gain
        count = len(gain.section_ratio)
        if len(gain.section_relay) != count or len(gain.section_bandwidth_hz) != count or gain.section_relay[0]:
            raise ValueError("gain.section_relay and section_bandwidth_hz: one for each section, no first relay")
        if any(entry.section >= count for entry in self.range):
            raise ValueError(f"range.section below {count}, the number of gain.section_ratio")
        if gain.power_on_code >= 2**gain.code_bits:
            raise ValueError(f"gain.power_on_code below {2**gain.code_bits}")
        return self

    @property
    def code_bits(self) -> int:
        """As the tables say."""
        return self.gain.code_bits

    @property
    def word_bits(self) -> int:
        """Section, second amplifier, a spare 0, code."""
        return _SECTION_BITS + _STAGE_BITS + _SPARE_BITS + self.gain.code_bits

    @property
    def power_on_word(self) -> int:
        """First section, second amplifier out."""
        return self.gain.power_on_code

    @property
    def pregain_bit(self) -> int:
        """The second amplifier's."""
        return self.gain.code_bits + _SPARE_BITS

    @property
    def most_word(self) -> int:
        """Of the last fine position of the last range."""
        return self.plan(len(self.range) - 1, self.fine_count - 1).word

    @property
    def fine_db(self) -> tuple[float, ...]:
        """Gain that each fine position adds."""
        return tuple(round(self.fine_last_db * index / (self.fine_count - 1), 9) for index in range(self.fine_count))

    @property
    def axes(self) -> tuple[Axis, Axis]:
        """Both in dB."""
        coarse = tuple(entry.gain_db for entry in self.range)
        return (
            Axis(pattern="GAIN#:COARse", units=DECIBEL, values=coarse),
            Axis(pattern="GAIN#:FINE", units=DECIBEL, values=self.fine_db),
        )

    def plan(self, coarse: int, fine: int) -> Plan:
        """The code nearest to the fine gain in dB."""
        chosen, gain = self.range[coarse], self.gain
        code = min(gain.first_code + nearest(self.fine_db[fine] / gain.db_per_code), 2**gain.code_bits - 1)
        fixed = gain.section_ratio[chosen.section] * (gain.second_ratio if chosen.second else 1.0)
        fixed *= gain.base_ratio * gain.loading_ratio * self.converter.codes_per_v
        switches = chosen.section << _STAGE_BITS | chosen.second
        return Plan(
            word=switches << (gain.code_bits + _SPARE_BITS) | code,
            word_bits=self.word_bits,
            gain_codes_per_v=fixed * 10.0 ** (gain.db_per_code * code / 20.0),
            fine_ratio=10.0 ** ((self.fine_db[fine] - self.fine_db[0]) / 20.0),
        )

    @property
    def relay_names(self) -> tuple[str, ...]:
        """Those of the sections."""
        return tuple(relay for relay in self.gain.section_relay if relay)

    def draw(self, channel: int, seed: Seed) -> CorrieParts:
        """A good channel."""
        gain, spread = self.gain, self.spread
        ripple = stream(seed, f"channel-{channel}/ripple")
        first, *others = gain.section_ratio
        return CorrieParts(
            **common_parts(self, channel, seed),
            section_ratio=(
                first,
                *(
                    ratio * (1.0 + error(seed, channel, f"section {index}", spread.section_percent))
                    for index, ratio in enumerate(others, start=1)
                ),
            ),
            section_relay=gain.section_relay,
            section_bandwidth_hz=gain.section_bandwidth_hz,
            pregain_ratio=gain.second_ratio * (1.0 + error(seed, channel, "second", spread.second_percent)),
            second_bandwidth_hz=gain.second_bandwidth_hz,
            base_ratio=gain.base_ratio,
            db_per_code=gain.db_per_code * (1.0 + error(seed, channel, "slope", spread.slope_percent)),
            code_bits=gain.code_bits,
            carry_bit=(self.plan(0, self.fine_count - 1).word & (2**gain.code_bits - 1)).bit_length() - 1,
            ripple_db=gain.ripple_db * float(ripple.uniform(0.5, 1.0)),
            ripple_period_code=gain.ripple_period_code,
            ripple_phase_rad=float(ripple.uniform(-math.pi, math.pi)),
            loading_ratio=gain.loading_ratio,
        )
