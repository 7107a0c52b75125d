"""A simulated bench: source, device and adapter, what joins them, and the time they live in."""

from __future__ import annotations

from dataclasses import dataclass

from harness.bench import Clock, Recorder
from harness.config import BenchFile, InstrumentSlot
from harness.errors import UsageError
from harness.simulated.adapter import SimulatedAdapter
from harness.simulated.bus import Bus
from harness.simulated.cable import Cable
from harness.simulated.course import Course
from harness.simulated.device import SimulatedDevice
from harness.simulated.fault import Fault
from harness.simulated.faults.link_fault import LinkFault
from harness.simulated.instrument import Instrument
from harness.simulated.link import MemoryLink
from harness.simulated.meter import SimulatedMeter
from harness.simulated.source import SimulatedSource
from harness.simulated.surroundings import Around


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class World:
    """Everything of one simulated bench; made by `build_world`."""

    bench: BenchFile
    clock: Clock
    source: SimulatedSource
    device: SimulatedDevice
    adapter: SimulatedAdapter | None
    meter: SimulatedMeter | None = None
    aggressor: SimulatedSource | None = None
    cable: Cable
    bus: Bus
    faults: tuple[Fault, ...] = ()
    course: Course
    around: Around

    @property
    def instruments(self) -> dict[str, Instrument]:
        """The instruments by role."""
        every: dict[str, Instrument | None] = {
            "source": self.source,
            "device": self.device,
            "adapter": self.adapter,
            "meter": self.meter,
            "aggressor": self.aggressor,
            "chamber": self.around.chamber,
            "supply": self.around.supply,
            "probe": self.around.probe,
        }
        return {role: instrument for role, instrument in every.items() if instrument is not None}

    def slot(self, role: str) -> InstrumentSlot:
        """The bench file's entry of a role."""
        slot = self.bench.slots.get(role)
        if slot is None or role not in self.instruments:
            raise UsageError(
                f"simulated bench {self.bench.name!r}: got role {role!r}; it has {', '.join(self.instruments)}"
            )
        return slot

    def link(self, role: str) -> MemoryLink:
        """A new connection in memory to `source`, `device`, `adapter` or `meter`."""
        slot = self.slot(role)
        return MemoryLink(
            self.instruments[role],
            self.clock,
            address=f"in-process {role}",
            timeout_s=slot.timeout_s,
            role=role,
            faults=self.link_faults(role),
        )

    def link_faults(self, role: str) -> tuple[LinkFault, ...]:
        """The faults of the link to one instrument."""
        return tuple(fault for fault in self.faults if isinstance(fault, LinkFault) and fault.sits_on(role))

    def reaches_plant(self) -> bool:
        """Whether what is recorded can be forwarded now."""
        return all(fault.reaches_plant() for fault in self.faults)

    def recorder(self, recorder: Recorder) -> Recorder:
        """Where readings go, past every fault of store and process."""
        for fault in self.faults:
            recorder = fault.recorder(recorder)
        return recorder
