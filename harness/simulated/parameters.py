"""The [simulation] tables of a bench file: the truth of the simulated instruments, in numbers."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, model_validator

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Percent = Annotated[float, Field(ge=0, le=50, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]
Name = Annotated[str, Field(min_length=1, max_length=40)]


class Truth(BaseModel):
    """A table in which an unknown key is an error."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class IdentityTruth(Truth):
    """Who answers, and how fast."""

    manufacturer: Name
    model: Name
    serial: Name
    firmware: Name = "1.0"
    latency_s: NotNegative = 0.0002
    """From the end of a command to the first byte of its answer."""

    def __str__(self) -> str:
        return f"{self.manufacturer},{self.model},{self.serial},{self.firmware}"


class SourceTruth(IdentityTruth):
    """The sine source."""

    manufacturer: Name = "Machair"
    model: Name = "SG-1"
    serial: Name = "MA000001"
    output_ohm: Positive = 50.0
    min_vpk: Positive = 0.0005
    max_vpk: Positive = 10.0
    min_hz: Positive = 0.1
    max_hz: Positive = 1.0e6
    digits: int = Field(default=4, ge=2, le=9)
    common_percent: Percent = 0.3
    range_percent: Percent = 0.1
    flatness_percent: Percent = 1.0
    settle_tau_s: Positive = 0.00003
    complete_s: NotNegative = 0.001


class AdapterTruth(IdentityTruth):
    """The bus adapter."""

    manufacturer: Name = "Strath"
    model: Name = "BA-1"
    serial: Name = "BA000001"
    capacity: int = Field(default=20_000, ge=1)


class RangeTruth(Truth):
    """One range of the unit."""

    full_scale_vpp: Positive
    attenuator: Name
    codes_ratio: Positive = 1.0


class GainTruth(Truth):
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


class ConverterTruth(Truth):
    """The converter behind the gain."""

    bits: int = Field(default=12, ge=4, le=16)
    codes_per_v: Positive = 2000.0
    dnl_lsb: Annotated[float, Field(ge=0, lt=1)] = 0.3
    headroom_ratio: Annotated[float, Field(ge=1)] = 1.25
    compression_percent: Percent = 0.02


class SpreadTruth(Truth):
    """Half-widths: no good unit lies outside."""

    attenuator_percent: Percent = 0.15
    pregain_percent: Percent = 0.15
    common_percent: Percent = 0.4
    bit_percent: Percent = 0.02
    carry_percent: Percent = 0.05
    offset_in_v: NotNegative = 20.0e-6
    offset_out_code: NotNegative = 4.0
    drift_percent: Percent = 0.01
    drift_tau_s: Positive = 600.0
    bias_word: int = Field(default=40, ge=0)


class NoiseTruth(Truth):
    """Noise of a good unit, rms."""

    input_v: NotNegative = 3.0e-6
    converter_code: NotNegative = 0.4


class TimingTruth(Truth):
    """How a change settles, and when the unit says that it has."""

    relay_tau_s: Positive = 0.0005
    bounce_s: NotNegative = 0.002
    fine_tau_s: Positive = 0.00004
    relay_complete_s: NotNegative = 0.010
    fine_complete_s: NotNegative = 0.001


class BusTruth(Truth):
    """Traffic on the control bus."""

    lines: tuple[Name, ...] = Field(
        default=("data", "clock", "latch-1", "latch-2", "latch-3", "latch-4", "latch-bias"), min_length=3, max_length=8
    )
    clock_hz: Annotated[float, Field(ge=1.0e4, le=1.0e6)] = 1.0e6
    setup_ns: int = Field(default=200, ge=100, le=300)
    latch_ns: int = Field(default=300, ge=50)
    bias_bits: int = Field(default=12, ge=1, le=32)
    start_s: NotNegative = 0.00002
    idle_ratio: Share = 0.1
    glitch_ratio: Share = 0.03


def _ranges() -> tuple[RangeTruth, ...]:
    steps = ((20.0, "1:100"), (10.0, "1:100"), (5.0, "1:100"), (2.0, "1:10"), (1.0, "1:10"), (0.5, "1:10"),
             (0.2, "1:1"), (0.1, "1:1"), (0.05, "1:1"), (0.02, "1:1"))  # fmt: skip
    hardware = tuple(RangeTruth(full_scale_vpp=volts, attenuator=state) for volts, state in steps)
    return (*hardware, RangeTruth(full_scale_vpp=0.01, attenuator="1:1", codes_ratio=2.0))


class UnitTruth(IdentityTruth):
    """The device under test."""

    manufacturer: Name = "Skerry"
    model: Name = "HR-4"
    serial: Name = "SK000001"
    channels: int = Field(default=4, ge=1, le=4)
    input_ohm: Positive = 1.0e6
    max_rate_hz: Positive = 1.0e6
    max_points: int = Field(default=1_000_000, ge=64)
    range: tuple[RangeTruth, ...] = Field(default_factory=_ranges, min_length=1)
    fine_first_percent: Positive = 100.0
    fine_last_percent: Positive = 40.0
    fine_count: int = Field(default=21, ge=2)
    gain: GainTruth = GainTruth()
    converter: ConverterTruth = ConverterTruth()
    spread: SpreadTruth = SpreadTruth()
    noise: NoiseTruth = NoiseTruth()
    timing: TimingTruth = TimingTruth()
    bus: BusTruth = BusTruth()

    @model_validator(mode="after")
    def _attenuators(self) -> UnitTruth:
        known = self.gain.attenuator_ratio
        if set(self.gain.relay) != set(known):
            raise ValueError("in gain.relay exactly the states of gain.attenuator_ratio")
        if any(entry.attenuator not in known for entry in self.range):
            raise ValueError(f"range.attenuator one of {', '.join(known)}")
        if self.gain.power_on_code >= 2**self.gain.code_bits:
            raise ValueError(f"gain.power_on_code below {2**self.gain.code_bits}")
        if len(self.bus.lines) != self.channels + 3:
            raise ValueError("bus.lines: data, clock, a latch for each channel, the bias latch")
        return self

    @property
    def fine_percents(self) -> tuple[float, ...]:
        """Full scale of each fine position, percent of the range."""
        step = (self.fine_last_percent - self.fine_first_percent) / (self.fine_count - 1)
        return tuple(round(self.fine_first_percent + step * index, 9) for index in range(self.fine_count))


class SimulationTruth(Truth):
    """All tables beside seed, device and transport."""

    source: SourceTruth = SourceTruth()
    adapter: AdapterTruth = AdapterTruth()
    unit: dict[str, Any] = Field(default_factory=dict)
    """Checked by the model of the device that `device` names."""
