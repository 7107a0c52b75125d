"""configs/devices/*.toml: a device, its path, its words, its limits."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from harness.config.bus_section import Bus
from harness.config.fit_section import FitTerms
from harness.config.model import Name, NotNegative, Positive, Table, Versioned
from harness.config.stage_section import Stage
from harness.config.uncertainty_section import DeviceUncertainty


class InputLimit(Table):
    """The most that may reach the input at one impedance."""

    impedance_ohm: Positive
    max_vpk: Positive


class Input(Table):
    """The device's input."""

    impedance_ohm: Positive
    """Selected at power-on."""
    coupling: Literal["ac", "dc"] = "ac"
    """Whether a steady level passes the whole path; ac where nobody says so."""
    limit: tuple[InputLimit, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _has_limit(self) -> Input:
        if all(entry.impedance_ohm != self.impedance_ohm for entry in self.limit):
            raise ValueError(f"an [[input.limit]] for impedance_ohm = {self.impedance_ohm:g}")
        return self


BEYOND_RATIO = 4
"""So far beyond the rails a product may be; more is no record, but bytes in the wrong order."""


class Converter(Table):
    """The converter behind the gain."""

    bits: int = Field(ge=4, le=16)
    low_code: int
    high_code: int
    codes_per_v: Positive
    """Codes a volt at the converter."""
    beyond_screen: bool = False
    """Whether a record holds products of arithmetic beyond the codes from low_code to high_code."""

    @property
    def record_codes(self) -> tuple[int, int]:
        """Lowest and highest value of a record: the converter's rails, with room for products where it holds them."""
        room = (BEYOND_RATIO - 1) * 2 ** (self.bits - 1) if self.beyond_screen else 0
        return self.low_code - room, self.high_code + room

    @model_validator(mode="after")
    def _span(self) -> Converter:
        if self.high_code - self.low_code != 2**self.bits - 1:
            raise ValueError(f"high_code - low_code = 2**bits - 1 = {2**self.bits - 1}")
        return self


class Acquisition(Table):
    """The record taken at each setting."""

    sample_rate_hz: Positive
    samples: int = Field(ge=64, le=1_000_000)
    cycles: int = Field(ge=3)
    """Whole cycles in the record: the test frequency is sample_rate_hz * cycles / samples."""
    fit: FitTerms = FitTerms()
    """Lines beside the signal; a job's own [fit] stands in its place."""

    @property
    def frequency_hz(self) -> float:
        """Test frequency, Hz."""
        return self.sample_rate_hz * self.cycles / self.samples


class Coarse(Table):
    """One range."""

    name: Name
    full_scale_vpp: Positive
    """Full converter span at the first fine position, V peak to peak at the input."""
    value: float | str | None = None
    """What the device's commands call the range; full_scale_vpp where nothing else is said."""
    controls: dict[str, str | int] = Field(default_factory=dict)
    """Controls that the range fixes, such as attenuator = "1:10"."""
    arithmetic_ratio: Positive = 1.0
    """Declared gain by arithmetic; the hardware stays as for full_scale_vpp times this."""


class Fine(Table):
    """The fine positions, the same in every range: full scale in percent of the range, or gain added in dB."""

    first_percent: Positive | None = None
    last_percent: Positive | None = None
    first_db: float | None = Field(default=None, allow_inf_nan=False)
    last_db: float | None = Field(default=None, allow_inf_nan=False)
    count: int = Field(ge=1, le=10_000)

    @model_validator(mode="after")
    def _one_unit(self) -> Fine:
        percent = (self.first_percent is not None, self.last_percent is not None)
        in_db = (self.first_db is not None, self.last_db is not None)
        if (all(percent), any(in_db)) != (True, False) and (all(in_db), any(percent)) != (True, False):
            raise ValueError("first_percent and last_percent, or first_db and last_db")
        return self

    @property
    def in_db(self) -> bool:
        """Whether positions are named by the gain they add, dB, instead of by full scale, percent."""
        return self.first_db is not None

    def positions(self) -> tuple[float, ...]:
        """Each position as the device knows it: percent or dB."""
        first = self.first_db if self.first_db is not None else self.first_percent
        last = self.last_db if self.last_db is not None else self.last_percent
        first, last = float(first or 0.0), float(last or 0.0)
        step = (last - first) / max(self.count - 1, 1)
        return tuple(round(first + step * k, 9) for k in range(self.count))

    def percents(self) -> tuple[float, ...]:
        """Full scale of each fine position, percent of the range."""
        if not self.in_db:
            return self.positions()
        return tuple(100.0 * 10.0 ** (-position / 20.0) for position in self.positions())

    def names(self) -> tuple[str, ...]:
        """Each position for people, such as `70 %` or `+3.5 dB`."""
        return tuple(f"{p:+g} dB" if self.in_db else f"{p:g} %" for p in self.positions())


class Firmware(Table):
    """The firmware's rule for turning a fine position into a code."""

    rule: Name
    """Checked by the law room: nearest-code, floor, table, mixed."""
    code: Name
    """The control that holds the code (named by a stage)."""
    codes: tuple[int, ...] = ()
    """The only codes that the firmware uses; empty for every legal one."""
    table: tuple[int | str, ...] | dict[str, tuple[int | str, ...]] | None = None
    """Rule table only: the code of each fine position, for all ranges or by name of range."""
    prefer: dict[str, int] = Field(default_factory=dict)
    """Two-valued controls and the value that is tried first, such as pregain = 0."""


class Response(Table):
    """How the gain falls with frequency: one pole, lower where the gain of some stages is higher.

    Far above the test frequency only, where it matters to readings at a second frequency.
    """

    stages: tuple[Name, ...] = Field(min_length=1)
    """Names of the stages whose gains together make the pole lower; checked by the law room."""
    bandwidth_hz: Positive
    """Of the pole at low gain."""
    gain_bandwidth_hz: Positive
    """Product of gain and pole at high gain."""


class Settle(Table):
    """Least times before a reading; the device's operation-complete answer is waited for as well."""

    coarse_s: NotNegative
    """After a change of range."""
    fine_s: NotNegative
    """After a change of fine position or of level."""


class Reference(Table):
    """Under which conditions the law predicts; a stage's corrections lead from nominal gain to these."""

    temperature_c: float = Field(default=23.0, ge=-100.0, le=200.0)
    fill_ratio: float = Field(default=0.75, gt=0.0, le=1.0)
    """Signal span over converter span, for compression."""


class QuietNoise(Table):
    """The device's own noise with a quiet input: it moves with the gain of the device, never with the source."""

    coarse: Name
    """Name of a range, the most sensitive hardware one."""
    fine: int = Field(ge=0)
    """0-based fine position."""
    noise_code: Positive
    """Typical rms, code steps."""

    def place(self, device: DeviceFile) -> tuple[int, int]:
        """The setting's coarse and fine index; coarse is -1 for a range that does not exist."""
        names = [coarse.name for coarse in device.coarse]
        return (names.index(self.coarse) if self.coarse in names else -1, self.fine)


class DeviceFile(Versioned):
    """A whole device."""

    kind: Literal["device"]
    name: Name
    description: str = ""
    channels: int = Field(ge=1, le=64)
    set_by: Literal["commands", "adapter"] = "commands"
    """Whether settings are made by the device's own commands, or by loading words through the adapter."""
    input: Input
    converter: Converter
    acquisition: Acquisition
    coarse: tuple[Coarse, ...] = Field(min_length=1)
    fine: Fine
    stage: tuple[Stage, ...] = Field(min_length=1)
    firmware: Firmware
    bus: Bus | None = None
    reference: Reference = Reference()
    response: Response | None = None
    """None: nothing is known but what the corrections of the stages say."""
    settle: Settle
    relay_life: dict[str, Positive] = Field(default_factory=dict)
    """Operations that each relay is good for, as its data sheet says; a relay that is not here is not counted."""
    quiet_noise: QuietNoise | None = None
    uncertainty: DeviceUncertainty | None = None
    """None: nothing is stated beside what a run itself shows."""

    @model_validator(mode="after")
    def _quiet_noise_exists(self) -> DeviceFile:
        if self.quiet_noise is not None:
            coarse, fine = self.quiet_noise.place(self)
            if coarse < 0 or fine >= self.fine.count:
                raise ValueError("quiet_noise: the name of a range, and a fine position below fine.count")
        return self

    @model_validator(mode="after")
    def _channels_on_bus(self) -> DeviceFile:
        if self.bus is None:
            return self
        owners = {member.channel for member in self.bus.on_bus if member.channel is not None}
        everybody = set(range(1, self.channels + 1))
        if owners - everybody - {"all"} or not ("all" in owners or owners >= everybody):
            raise ValueError(f'bus.on_bus: a gain device for each channel 1 to {self.channels}, or for "all"')
        return self
