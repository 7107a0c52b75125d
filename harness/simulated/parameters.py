"""The [simulation] tables of a bench file: the truth of the simulated instruments, in numbers."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

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
    offset_step_v: Positive = 1.0e-5
    """Least step of the offset and of a steady level, for the load it is told."""
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


class MeterTruth(IdentityTruth):
    """The reference meter."""

    manufacturer: Name = "Cairn"
    model: Name = "AM-2"
    serial: Name = "CA000001"
    common_percent: Percent = 0.05
    """Of reading, half width, one draw for each seed."""
    range_percent: Percent = 0.02
    """Of reading, half width, one draw for each decade of level."""
    digits: int = Field(default=6, ge=3, le=9)
    read_s: NotNegative = 0.02
    """Over which it averages."""


class ChamberTruth(IdentityTruth):
    """The climate chamber."""

    manufacturer: Name = "Glen"
    model: Name = "TC-1"
    serial: Name = "GL000001"
    low_c: float = -40.0
    high_c: float = 85.0
    air_tau_s: Positive = 240.0
    """How its air follows the set point."""
    unit_tau_s: Positive = 900.0
    """How a unit in it follows the air."""


class SupplyTruth(IdentityTruth):
    """The supply of the unit."""

    manufacturer: Name = "Lochan"
    model: Name = "PS-2"
    serial: Name = "LO000001"
    low_v: NotNegative = 0.0
    high_v: Positive = 30.0
    nominal_v: Positive = 12.0
    current_a: NotNegative = 0.4
    """Taken by the unit at nominal voltage."""
    gain_percent_per_v: float = 0.0
    """What a volt more does to the gain of the unit."""


class ProbeTruth(IdentityTruth):
    """The temperature probe."""

    manufacturer: Name = "Bealach"
    model: Name = "TP-1"
    serial: Name = "BE000001"
    offset_k: float = 0.0
    """How much too high it reads."""


class PadTruth(Truth):
    """A pad between source and device, built in where its loss is not 0 dB."""

    loss_db: NotNegative = 0.0
    """From its input to the device's input, the device connected."""
    error_percent: Percent = 0.0
    input_ohm: Positive | None = None
    """What the source sees; without a pad it sees the inputs of the device."""
    series_ohm: NotNegative = 0.0
    """A resistor in line behind the source, for a look at the inputs' resistance."""


class ConverterTruth(Truth):
    """The converter behind the gain."""

    bits: int = Field(default=12, ge=4, le=16)
    codes_per_v: Positive = 2000.0
    dnl_lsb: Annotated[float, Field(ge=0, lt=1)] = 0.3
    headroom_ratio: Annotated[float, Field(ge=1)] = 1.25
    compression_percent: Percent = 0.02
    compression: Literal["cubic", "tanh"] = "cubic"
    """How the last amplifier bends; both lose `compression_percent` of the fundamental at full scale."""
    crops: bool = False
    """Whether products of arithmetic are held at the rails, as a screen would."""


class SpreadTruth(Truth):
    """Half-widths of what every unit has; no good unit lies outside."""

    common_percent: Percent = 0.4
    offset_in_v: NotNegative = 20.0e-6
    offset_out_code: NotNegative = 4.0
    drift_percent: Percent = 0.01
    drift_tau_s: Positive = 600.0
    tempco_ppm: NotNegative = 15.0
    """Of the gain, for each kelvin."""
    relay_tempco_ppm: NotNegative = 10.0
    """Of the ratio that each relay switches in, for each kelvin."""
    bias_word: int = Field(default=0, ge=0)


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

    lines: tuple[Name, ...] = Field(min_length=3, max_length=8)
    """Data, clock, a latch for each channel, and that of the bias converter where there is one."""
    clock_hz: Annotated[float, Field(ge=1.0e4, le=1.0e6)] = 1.0e6
    setup_ns: int = Field(default=200, ge=100, le=300)
    need_setup_ns: int = Field(default=50, ge=10, le=90)
    """What the gain devices need."""
    latch_ns: int = Field(default=300, ge=50)
    bias_bits: int = Field(default=0, ge=0, le=32)
    """Word of the bias converter; 0 without one."""
    start_s: NotNegative = 0.00002
    idle_edges: int = Field(default=4, ge=0)
    """Most edges on data, for somebody else, before and after a group of words; half of it the least."""
    idle_ratio: Share = 0.1
    glitch_ratio: Share = 0.03


class ClimateTruth(Truth):
    """Temperature of the room and inside the unit."""

    reference_c: float = 23.0
    """Where the unit was calibrated."""
    room_c: float = 23.0
    """Of the room, on average."""
    swing_k: NotNegative = 1.0
    """Half the range through which the room goes up and down."""
    swing_period_s: Positive = 3600.0
    self_heating_k: NotNegative = 2.0
    """How much warmer than the room the unit gets by itself."""
    heating_tau_s: Positive = 900.0


class LotTruth(Truth):
    """The lot that the unit comes from; without a name a unit follows from the seed alone."""

    name: Annotated[str, Field(max_length=40)] = ""
    unit: int = Field(default=0, ge=0)
    """Which unit of the lot, where none is asked for by its serial number."""
    by_serial: bool = True
    """The serial number of the unit under test says which unit of the lot it is."""
    share: Share = 0.5
    """Share of the variance of every part that the whole lot has in common."""


class SimulationTruth(Truth):
    """All tables beside seed, device and transport."""

    climate: ClimateTruth = ClimateTruth()
    lot: LotTruth = LotTruth()

    source: SourceTruth = SourceTruth()
    chamber: ChamberTruth = ChamberTruth()
    supply: SupplyTruth = SupplyTruth()
    probe: ProbeTruth = ProbeTruth()
    adapter: AdapterTruth = AdapterTruth()
    meter: MeterTruth = MeterTruth()
    aggressor: SourceTruth = SourceTruth(serial="MA000002")
    pad: PadTruth = PadTruth()
    unit: dict[str, Any] = Field(default_factory=dict)
    """Checked by the model of the device that `device` names."""
