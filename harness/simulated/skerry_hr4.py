"""Skerry HR-4: relay attenuator, pre-gain bit, linear code; one range by arithmetic."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from pydantic import Field, model_validator

from harness.simulated.firmware import Plan, nearest
from harness.simulated.linear_parts import LinearParts
from harness.simulated.parameters import BusTruth, Name, Percent, Positive, SpreadTruth, Truth
from harness.simulated.parts import common_parts, error
from harness.simulated.streams import Seed
from harness.simulated.unit import Axis, UnitTruth
from harness.simulated.value import PERCENT, VPP


class SkerryRange(Truth):
    """One range of the unit."""

    full_scale_vpp: Positive
    attenuator: Name
    codes_ratio: Positive = 1.0


class SkerryGain(Truth):
    """The nominal path of the unit, input first."""

    attenuator_ratio: dict[str, Positive] = Field(default={"1:1": 1.0, "1:10": 0.1, "1:100": 0.01})
    relay: dict[str, str] = Field(default={"1:1": "", "1:10": "K1", "1:100": "K2"})
    pregain_ratio: Positive = 4.0
    per_code_ratio: Positive = 0.50196078431372549
    code_bits: int = Field(default=8, ge=2, le=12)
    loading_ratio: Positive = 0.5
    bandwidth_hz: Positive = 2.0e6
    gain_bandwidth_hz: Positive = 1.0e8
    power_on_code: int = Field(default=128, ge=0)


class SkerrySpread(SpreadTruth):
    """Half-widths."""

    attenuator_percent: Percent = 0.15
    pregain_percent: Percent = 0.15
    bit_percent: Percent = 0.02
    carry_percent: Percent = 0.05
    bias_word: int = Field(default=40, ge=0)


class SkerryBus(BusTruth):
    """Four gain devices and a bias converter."""

    lines: tuple[Name, ...] = Field(
        default=("data", "clock", "latch-1", "latch-2", "latch-3", "latch-4", "latch-bias"), min_length=3, max_length=8
    )
    bias_bits: int = Field(default=12, ge=0, le=32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SkerryParts(LinearParts):
    """A channel with its attenuator."""

    attenuator_ratio: dict[str, float]
    relay: dict[str, str]
    """The relay that each state of the attenuator drives; empty for none."""

    def relay_gain(self, picked: frozenset[str]) -> float:
        """The ratio of the attenuator with these relays picked; without any it is straight through."""
        for state, relay in self.relay.items():
            if relay and relay in picked:
                return self.attenuator_ratio[state]
        return next(self.attenuator_ratio[state] for state, relay in self.relay.items() if not relay)


def _ranges() -> tuple[SkerryRange, ...]:
    steps = ((20.0, "1:100"), (10.0, "1:100"), (5.0, "1:100"), (2.0, "1:10"), (1.0, "1:10"), (0.5, "1:10"),
             (0.2, "1:1"), (0.1, "1:1"), (0.05, "1:1"), (0.02, "1:1"))  # fmt: skip
    hardware = tuple(SkerryRange(full_scale_vpp=volts, attenuator=state) for volts, state in steps)
    return (*hardware, SkerryRange(full_scale_vpp=0.01, attenuator="1:1", codes_ratio=2.0))


class SkerryTruth(UnitTruth):
    """The whole unit."""

    keeps_constants: ClassVar[bool] = True

    manufacturer: Name = "Skerry"
    model: Name = "HR-4"
    serial: Name = "SK000001"
    channels: int = Field(default=4, ge=1, le=4)
    range: tuple[SkerryRange, ...] = Field(default_factory=_ranges, min_length=1)
    fine_first_percent: Positive = 100.0
    fine_last_percent: Positive = 40.0
    fine_count: int = Field(default=21, ge=2)
    gain: SkerryGain = SkerryGain()
    spread: SkerrySpread = SkerrySpread()
    bus: SkerryBus = SkerryBus()

    @model_validator(mode="after")
    def _attenuators(self) -> SkerryTruth:
        known = self.gain.attenuator_ratio
        if set(self.gain.relay) != set(known):
            raise ValueError("in gain.relay exactly the states of gain.attenuator_ratio")
        if any(entry.attenuator not in known for entry in self.range):
            raise ValueError(f"range.attenuator one of {', '.join(known)}")
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
        """Of the last fine position of the last range."""
        return self.plan(len(self.range) - 1, self.fine_count - 1).word

    @property
    def fine_percents(self) -> tuple[float, ...]:
        """Full scale of each fine position, percent of the range."""
        step = (self.fine_last_percent - self.fine_first_percent) / (self.fine_count - 1)
        return tuple(round(self.fine_first_percent + step * index, 9) for index in range(self.fine_count))

    @property
    def axes(self) -> tuple[Axis, Axis]:
        """Range by its full scale, fine position in percent of it."""
        volts = tuple(entry.full_scale_vpp for entry in self.range)
        return (
            Axis(pattern="INPut#:RANGe", units=VPP, values=volts),
            Axis(pattern="INPut#:FINE", units=PERCENT, values=self.fine_percents),
        )

    def plan(self, coarse: int, fine: int) -> Plan:
        """The code nearest to the wanted gain, without pre-gain if that code exists."""
        chosen, gain = self.range[coarse], self.gain
        full_scale_vpp = chosen.full_scale_vpp * self.fine_percents[fine] / 100.0
        wanted = 2.0**self.converter.bits / full_scale_vpp / chosen.codes_ratio
        step = (
            gain.attenuator_ratio[chosen.attenuator]
            * gain.per_code_ratio
            * gain.loading_ratio
            * self.converter.codes_per_v
        )  # fmt: skip
        last = 2**gain.code_bits - 1
        pregain, code = 0, nearest(wanted / step)
        if code > last:
            pregain, code = 1, nearest(wanted / (step * gain.pregain_ratio))
        code = min(max(code, 1), last)
        relay = gain.relay[chosen.attenuator]
        return Plan(
            word=pregain << gain.code_bits | code,
            word_bits=self.word_bits,
            relays=frozenset({relay} if relay else ()),
            gain_codes_per_v=step * code * (gain.pregain_ratio if pregain else 1.0),
            codes_ratio=chosen.codes_ratio,
            fine_ratio=self.fine_percents[0] / self.fine_percents[fine],
        )

    @property
    def relay_names(self) -> tuple[str, ...]:
        """Those of the attenuator."""
        return tuple(relay for relay in self.gain.relay.values() if relay)

    def draw(self, channel: int, seed: Seed) -> SkerryParts:
        """A good channel."""
        gain, spread = self.gain, self.spread
        straight = {state: ratio for state, ratio in gain.attenuator_ratio.items() if ratio == 1.0}
        divided = {
            state: ratio * (1.0 + error(seed, channel, f"attenuator {state}", spread.attenuator_percent))
            for state, ratio in gain.attenuator_ratio.items()
            if state not in straight
        }
        return SkerryParts(
            **common_parts(self, channel, seed),
            attenuator_ratio=straight | divided,
            relay=dict(gain.relay),
            pregain_ratio=gain.pregain_ratio * (1.0 + error(seed, channel, "pre-gain", spread.pregain_percent)),
            per_code_ratio=gain.per_code_ratio,
            bit_error_ratio=tuple(error(seed, channel, f"bit {k}", spread.bit_percent) for k in range(gain.code_bits)),
            carry_ratio=1.0 + error(seed, channel, "major carry", spread.carry_percent),
            loading_ratio=gain.loading_ratio,
            bandwidth_hz=gain.bandwidth_hz,
            gain_bandwidth_hz=gain.gain_bandwidth_hz,
        )
