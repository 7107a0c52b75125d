"""The one place where real or simulated is chosen: from a bench file to open instruments."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from harness.app.setup import BenchSetup
from harness.app.surroundings_open import surroundings_on
from harness.app.wire_bench import served_bench
from harness.bench import Clock, Device, Interlock, Link, Recorder
from harness.config import DeviceFile, InstrumentSlot
from harness.drivers import (
    AdapterDriver,
    DeviceDriver,
    LoadedDeviceDriver,
    MeterDriver,
    RealClock,
    SourceDriver,
    Watchdog,
    open_link,
)
from harness.errors import ConfigError, Problem, UsageError
from harness.law import build as build_law
from harness.simulated import JumpClock, build_world
from harness.sweep import Bench
from harness.values import Identity

ROLES = ("source", "device", "adapter", "meter", "aggressor", "chamber", "supply", "probe")


def _untouched(recorder: Recorder) -> Recorder:
    return recorder


def _reaches_plant() -> bool:
    return True


@dataclass(frozen=True, slots=True)
class AllWatched:
    """A sign of life for every watchdog: each source has one of its own."""

    watchdogs: Sequence[Watchdog]

    def beat(self) -> None:
        """All is well; a source may be on."""
        for watchdog in self.watchdogs:
            watchdog.beat()

    def rest(self) -> None:
        """Every source is off."""
        for watchdog in self.watchdogs:
            watchdog.rest()


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenBench:
    """Instruments that have said who they are; the source is off."""

    bench: Bench
    identities: tuple[tuple[str, Identity], ...]
    mode: str
    """simulated or real."""
    seed: int | None
    recorder: Callable[[Recorder], Recorder] = _untouched
    """Where readings go: past the faults of store and process that a simulated bench may have."""
    reaches_plant: Callable[[], bool] = _reaches_plant
    """Whether readings can be forwarded now; a simulated bench may have a fault there."""


@contextlib.contextmanager
def open_bench(
    setup: BenchSetup,
    device: DeviceFile,
    *,
    transport: str | None,
    seed: int | None,
    faults: tuple[str, ...],
    unit: str = "",
    after: Clock | None = None,
) -> Iterator[OpenBench]:
    """Open every instrument, switch the source off, check who answers; close all on the way out.

    The serial number of the unit under test matters to a simulated bench whose units come from a lot. `after` is the
    clock of the bench that was open before, in a night: simulated time in memory goes on from there.

    A bench in another process or on real links gets a watchdog, which switches the source off if this process dies.
    """
    simulation = setup.file.simulation
    if simulation is None:
        if faults or seed is not None:
            raise UsageError(f"--fault and --seed need a simulated bench; {setup.path} describes a real one")
        with _on_links(setup, device, _addresses(setup, {})) as bench:
            yield _opened(bench, "real", None)
        return
    chosen_seed = simulation.seed if seed is None else seed
    if (transport or simulation.transport) == "wire":
        # Checked here first: a bad fault or table is a usage error, not a bench that fails to start.
        build_world(setup.file, seed=chosen_seed, faults=faults, clock=JumpClock(), file=setup.path, in_process=False)
        with (
            served_bench(setup.path, seed=chosen_seed, faults=faults, unit=unit) as addresses,
            _on_links(setup, device, _addresses(setup, addresses)) as bench,
        ):
            yield _opened(bench, "simulated", chosen_seed)
        return
    clock = after if isinstance(after, JumpClock) else JumpClock()
    world = build_world(setup.file, seed=chosen_seed, faults=faults, clock=clock, file=setup.path, serial=unit)
    links = {role: world.link(role) for role in ROLES if setup.slot(role) is not None}
    slots = {role: slot for role in ROLES if (slot := setup.slot(role)) is not None}
    with _closing(setup, device, slots, links, clock) as bench:
        made = _opened(bench, "simulated", chosen_seed)
        yield dataclasses.replace(made, recorder=world.recorder, reaches_plant=world.reaches_plant)


def _opened(bench: Bench, mode: str, seed: int | None) -> OpenBench:
    bench.source.safe_off()
    if bench.aggressor is not None:
        bench.aggressor.safe_off()
    identities = tuple((role, instrument.identify()) for role, instrument in bench.instruments)
    return OpenBench(bench=bench, identities=identities, mode=mode, seed=seed)


def _addresses(setup: BenchSetup, served: Mapping[str, str]) -> dict[str, InstrumentSlot]:
    slots: dict[str, InstrumentSlot] = {}
    for role in ROLES:
        slot = setup.slot(role)
        if slot is not None:
            slots[role] = slot.model_copy(update={"address": served[role]}) if served else slot
    return slots


@contextlib.contextmanager
def _on_links(setup: BenchSetup, device: DeviceFile, slots: Mapping[str, InstrumentSlot]) -> Iterator[Bench]:
    with contextlib.ExitStack() as stack:
        links: dict[str, Link] = {}
        for role, slot in slots.items():
            links[role] = open_link(slot, role=role)
            stack.callback(links[role].close)
        # Where a source was found, which need not be where the file says.
        watchdogs = [
            stack.enter_context(
                Watchdog(slots[role].model_copy(update={"address": links[role].address}), setup.profiles[role])
            )
            for role in ("source", "aggressor")
            if role in slots
        ]
        bench = stack.enter_context(_closing(setup, device, slots, links, RealClock()))
        try:
            yield dataclasses.replace(bench, heartbeat=AllWatched(watchdogs))
        finally:
            # Only a source that has just read back off may stand down the watchdog.
            bench.source.safe_off()
            if bench.aggressor is not None:
                bench.aggressor.safe_off()
            for watchdog in watchdogs:
                watchdog.safe()


@contextlib.contextmanager
def _closing(
    setup: BenchSetup,
    device: DeviceFile,
    slots: Mapping[str, InstrumentSlot],
    links: Mapping[str, Link],
    clock: Clock,
) -> Iterator[Bench]:
    file, profiles = setup.file, setup.profiles
    interlock = Interlock(
        {limit.impedance_ohm: limit.max_vpk for limit in device.input.limit}, impedance_ohm=device.input.impedance_ohm
    )
    source = SourceDriver(
        links["source"], profiles["source"], slots["source"], file.wiring, interlock, clock, file.max_level_vpk
    )
    adapter = None
    if "adapter" in links:
        if device.bus is None:
            allowed = "none: the device file has no [bus]"
            raise ConfigError((Problem(file=setup.path, key="adapter", got="an adapter", allowed=allowed),))
        adapter = AdapterDriver(links["adapter"], profiles["adapter"], slots["adapter"], device.bus, clock)
    slot, profile = slots["device"], profiles["device"]
    dut: Device
    if device.set_by == "adapter":
        if adapter is None:
            allowed = f"an [adapter]: the words of the {device.name} are loaded through it"
            raise ConfigError((Problem(file=setup.path, key="adapter", got="nothing", allowed=allowed),))
        words = {item.setting: item.state.word for item in build_law(device, file=device.name).predictions()}
        dut = LoadedDeviceDriver(links["device"], profile, slot, device, clock, adapter=adapter, words=words)
    else:
        dut = DeviceDriver(links["device"], profile, slot, device, clock)
    aggressor = None
    if file.aggressor is not None and "aggressor" in links:
        aggressor = SourceDriver(
            links["aggressor"], profiles["aggressor"], slots["aggressor"], file.aggressor.wiring, interlock, clock,
            file.max_level_vpk,
        )  # fmt: skip
    around = surroundings_on(links, profiles, slots, clock)
    meter = MeterDriver(links["meter"], profiles["meter"], slots["meter"], clock) if "meter" in links else None
    bench = Bench(
        source=source, device=dut, adapter=adapter, clock=clock, meter=meter, aggressor=aggressor, surroundings=around,
    )  # fmt: skip
    try:
        yield bench
    finally:
        for _, instrument in reversed(bench.instruments):
            instrument.close()
