"""configs/benches/*.toml: which instruments, where, how wired; or a simulation of them."""

from __future__ import annotations

import datetime as dt
from typing import Any, Literal

from pydantic import ConfigDict, Field, model_validator

from harness.config.model import Name, NotNegative, Path, Positive, Table, Versioned
from harness.config.uncertainty_section import BenchUncertainty


class CertificateTable(Table):
    """The calibration certificate of an instrument."""

    number: Name
    laboratory: Name
    calibrated: dt.date
    valid_until: dt.date
    """The last day on which it holds."""

    @model_validator(mode="after")
    def _order(self) -> CertificateTable:
        if self.valid_until < self.calibrated:
            raise ValueError(f"valid_until on or after calibrated, {self.calibrated}")
        return self


class InstrumentSlot(Table):
    """One instrument of the bench."""

    profile: Path
    """Instrument file, relative to this file."""
    address: str = ""
    """VISA resource string, or for an adapter a serial port or URL; empty on a simulated bench."""
    serial: str = ""
    """Serial number that must answer; empty takes any of the right model (never on a real bench)."""
    timeout_s: Positive = 5.0
    termination: Literal["\n", "\r\n"] = "\n"
    baud: int = Field(default=115_200, gt=0)
    via: Literal["socket", "hislip", "pty", "tcp-serial"] = "socket"
    """How a simulated bench serves it on the wire."""
    also_at: tuple[str, ...] = ()
    """Where else it may answer: further addresses, or patterns of ports; it is known by its serial number."""
    power_cycle: tuple[str, ...] = ()
    """Program and arguments that switch its power off and on again, the last resort of a link; empty: never."""
    boot_s: NotNegative = 30.0
    """How long it may take to start after that."""
    certificate: CertificateTable | None = None
    """None: nobody says when it was calibrated."""

    @model_validator(mode="after")
    def _known_by_serial(self) -> InstrumentSlot:
        if self.also_at and not self.serial:
            raise ValueError("serial with also_at: without it nobody knows which instrument answers there")
        return self


class Wiring(Table):
    """How the source reaches the device."""

    source_ohm: Positive = 50.0
    load_ohm: Positive
    """What the source really drives: all inputs in parallel, terminators included."""
    told_ohm: Positive | Literal["high-z"]
    """What the source is told it drives."""
    pad_db: NotNegative = 0.0
    """Attenuation between source and device, into the device's input, dB; the load is what the pad shows the source."""


class AggressorSlot(InstrumentSlot):
    """A second source, on a channel of its own that the first source does not reach."""

    channel: int = Field(ge=1)
    """Which channel of the device it drives."""
    wiring: Wiring
    """How it reaches that channel."""


class SimulationSection(Table):
    """The truth of a simulated bench; checked by the simulated room. Never read by the law."""

    model_config = ConfigDict(extra="allow", frozen=True)

    seed: int = 0
    device: Name
    """Name of the simulated device."""
    transport: Literal["in-process", "wire"] = "wire"

    @property
    def parameters(self) -> dict[str, Any]:
        """The tables beside the keys above: physics, tolerances, latencies."""
        return dict(self.model_extra or {})


class BenchFile(Versioned):
    """A whole bench."""

    kind: Literal["bench"]
    name: Name
    device_file: str = ""
    """Device file, relative to this file: whose input limits `gainladder check` holds the bench to."""
    source: InstrumentSlot
    device: InstrumentSlot
    adapter: InstrumentSlot | None = None
    meter: InstrumentSlot | None = None
    """Reference meter at the source's terminals; its reading takes the place of the level that the source claims."""
    aggressor: AggressorSlot | None = None
    """None: cross-talk cannot be measured."""
    chamber: InstrumentSlot | None = None
    """None: the temperature is as it comes."""
    supply: InstrumentSlot | None = None
    """None: the unit is fed by somebody else."""
    probe: InstrumentSlot | None = None
    """None: nobody knows how warm the unit is."""
    wiring: Wiring
    max_level_vpk: Positive
    """The most this bench may ever put out, whatever the device would bear."""
    self_check_percent: NotNegative = 5.0
    """How far all channels may be off together, before the sweep, until the station is suspected."""
    uncertainty: BenchUncertainty | None = None
    """None: no uncertainty is stated, and none is made up."""
    simulation: SimulationSection | None = None

    @property
    def slots(self) -> dict[str, InstrumentSlot]:
        """The instruments that the bench has, by role."""
        every = {
            "source": self.source, "device": self.device, "adapter": self.adapter, "meter": self.meter,
            "aggressor": self.aggressor, "chamber": self.chamber, "supply": self.supply, "probe": self.probe,
        }  # fmt: skip
        return {role: slot for role, slot in every.items() if slot is not None}

    @model_validator(mode="after")
    def _meter_stated(self) -> BenchFile:
        if self.uncertainty is not None and (self.uncertainty.meter is None) != (self.meter is None):
            raise ValueError("[uncertainty.meter] where there is a [meter], and only there")
        return self

    @model_validator(mode="after")
    def _pad_stated(self) -> BenchFile:
        if self.uncertainty is not None and (self.uncertainty.pad is None) == (self.wiring.pad_db > 0.0):
            raise ValueError("[uncertainty.pad] where wiring.pad_db is above 0, and only there")
        return self

    @model_validator(mode="after")
    def _addresses(self) -> BenchFile:
        if self.simulation is None:
            for role, slot in self.slots.items():
                if not (slot.address and slot.serial):
                    raise ValueError(f"address and serial in [{role}]: a real bench names every instrument")
        return self
