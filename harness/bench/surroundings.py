"""What surrounds a unit: climate chamber, supply, temperature probe; each may be missing.

Errors and what is true after them: as of every instrument in `contracts`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from harness.bench.contracts import Instrument


@runtime_checkable
class Chamber(Instrument, Protocol):
    """A climate chamber with a set point and a sensor in its air."""

    def set_temperature(self, temperature_c: float) -> float:
        """Set and read back the set point, and let it work; BenchError outside what it can do."""
        ...

    def air_c(self) -> float:
        """Temperature of the air now."""
        ...


@runtime_checkable
class Supply(Instrument, Protocol):
    """The supply that feeds the unit."""

    def set_voltage(self, voltage_v: float) -> float:
        """Set, switch on and read back; BenchError outside what it can do."""
        ...

    def measured(self) -> tuple[float, float]:
        """Voltage and current at its terminals now, V and A."""
        ...


@runtime_checkable
class Probe(Instrument, Protocol):
    """A temperature probe on the unit."""

    def temperature_c(self) -> float:
        """Temperature now."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What a bench has of them."""

    chamber: Chamber | None = None
    supply: Supply | None = None
    probe: Probe | None = None

    def conditions(self) -> dict[str, float]:
        """All that can be read now, by name: probe_c, air_c, supply_v, supply_a."""
        found: dict[str, float] = {}
        if self.probe is not None:
            found["probe_c"] = self.probe.temperature_c()
        if self.chamber is not None:
            found["air_c"] = self.chamber.air_c()
        if self.supply is not None:
            found["supply_v"], found["supply_a"] = self.supply.measured()
        return found
