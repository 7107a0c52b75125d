"""From a bench file to a simulated bench."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from harness.bench import Clock
from harness.config import BenchFile, SimulationSection, validate
from harness.errors import ConfigError, Problem
from harness.simulated.adapter import SimulatedAdapter
from harness.simulated.beside import Beside
from harness.simulated.bus import Bus
from harness.simulated.cable import Cable
from harness.simulated.climate import Climate
from harness.simulated.commanded import CommandedDevice
from harness.simulated.corrie_ur2 import CorrieTruth
from harness.simulated.course import Course
from harness.simulated.device import SimulatedDevice
from harness.simulated.faults.reading import read_fault
from harness.simulated.meter import SimulatedMeter
from harness.simulated.parameters import LotTruth, PadTruth, SimulationTruth
from harness.simulated.skerry_hr4 import SkerryTruth
from harness.simulated.soak import Feed, Soak
from harness.simulated.source import SimulatedSource
from harness.simulated.streams import Lineage, Seed, within
from harness.simulated.surroundings import Around, SimulatedChamber, SimulatedProbe, SimulatedSupply
from harness.simulated.tarn_vg1 import TarnTruth
from harness.simulated.unit import UnitTruth
from harness.simulated.world import World

DEVICES: dict[str, type[UnitTruth]] = {"skerry-hr-4": SkerryTruth, "tarn-vg-1": TarnTruth, "corrie-ur-2": CorrieTruth}
"""Simulated devices by the name in [simulation], and the tables of each."""


def build_world(
    bench: BenchFile,
    *,
    seed: int,
    faults: tuple[str, ...],
    clock: Clock,
    file: str,
    serial: str = "",
    in_process: bool = True,
) -> World:
    """A simulated bench, every part of it drawn from `seed`; `serial` is that of the unit under test.

    Without `in_process` somebody else's process will use it: faults of the tool's own process are refused.
    ConfigError names each bad key of the [simulation] section of `file`; UsageError a fault text that cannot be
    carried out.
    """
    section = _section(bench, file)
    truth, unit = _truths(section, file)
    course = Course(metered=bench.meter is not None)
    injected = tuple(read_fault(text, unit=unit, in_process=in_process) for text in faults)
    for number, fault in enumerate(injected):
        fault.join(course, unit, seed=seed, number=number, clock=clock)
    source = SimulatedSource(truth.source, clock, seed=seed, faults=injected)
    cable = Cable(
        source,
        source_ohm=truth.source.output_ohm + truth.pad.series_ohm,
        inputs_ohm=truth.pad.input_ohm or unit.input_ohm / (unit.channels - (bench.aggressor is not None)),
        pad_ratio=_pad_ratio(truth.pad, seed),
        faults=injected,
    )
    aggressor, beside = _beside(bench, truth, unit, clock, seed=seed)
    around = _around(bench, truth, course, clock)
    bus = Bus(unit.bus, seed=seed)
    device = _model_of(unit)(
        unit,
        clock,
        seed=_lineage(truth.lot, seed, serial),
        faults=injected,
        cable=cable,
        bus=bus,
        climate=around.climate,
        course=course,
        beside=beside,
    )
    adapter = SimulatedAdapter(truth.adapter, clock, bus=bus, device=device) if bench.adapter is not None else None
    meter = SimulatedMeter(truth.meter, clock, seed=seed, cable=cable, faults=injected) if course.metered else None
    return World(
        bench=bench,
        clock=clock,
        source=source,
        device=device,
        adapter=adapter,
        meter=meter,
        aggressor=aggressor,
        cable=cable,
        bus=bus,
        faults=injected,
        course=course,
        around=around,
    )


def _model_of(unit: UnitTruth) -> Callable[..., SimulatedDevice]:
    return SimulatedDevice if unit.axes is None else partial(CommandedDevice, axes=unit.axes)


def _beside(
    bench: BenchFile, truth: SimulationTruth, unit: UnitTruth, clock: Clock, *, seed: int
) -> tuple[SimulatedSource | None, Beside | None]:
    """The source of another channel, alone on that channel's input."""
    if bench.aggressor is None:
        return None, None
    source = SimulatedSource(truth.aggressor, clock, seed=seed, faults=(), role="aggressor")
    cable = Cable(source, source_ohm=truth.aggressor.output_ohm, inputs_ohm=unit.input_ohm, faults=())
    ratio = unit.crosstalk_percent / 100.0
    return source, Beside(channel=bench.aggressor.channel, cable=cable, coupling_ratio=ratio)


def _around(bench: BenchFile, truth: SimulationTruth, course: Course, clock: Clock) -> Around:
    """What surrounds the unit, as far as the bench has it."""
    began_s, room_c = clock.now_s(), truth.climate.room_c
    soak = None
    chamber = None
    if bench.chamber is not None:
        lags = truth.chamber
        soak = Soak(room_c, air_tau_s=lags.air_tau_s, unit_tau_s=lags.unit_tau_s, began_s=began_s)
        chamber = SimulatedChamber(lags, clock, soak=soak, room_c=room_c)
    feed = Feed(nominal_v=truth.supply.nominal_v, gain_percent_per_v=truth.supply.gain_percent_per_v)
    supply = SimulatedSupply(truth.supply, clock) if bench.supply is not None else None
    if supply is not None:
        feed.voltage = supply.voltage
    climate = Climate(truth.climate, course, began_s=began_s, soak=soak, feed=feed)
    probe = SimulatedProbe(truth.probe, clock, climate=climate) if bench.probe is not None else None
    return Around(climate=climate, chamber=chamber, supply=supply, probe=probe)


def _lineage(lot: LotTruth, seed: int, serial: str) -> Seed:
    """What a unit's parts are drawn from: without a lot the seed alone."""
    if not lot.name:
        return seed
    unit = serial if serial and lot.by_serial else str(lot.unit)
    return Lineage(root=seed, lot=lot.name, unit=unit, share=lot.share)


def _pad_ratio(pad: PadTruth, seed: int) -> float:
    return math.pow(10.0, -pad.loss_db / 20.0) * (1.0 + within(seed, "pad", pad.error_percent / 100.0))


def _truths(section: SimulationSection, file: str) -> tuple[SimulationTruth, UnitTruth]:
    model = _model(section, file)
    tables = dict(section.parameters)
    unit_table = tables.pop("unit", {})
    problems: list[Problem] = []
    try:
        unit = validate(model, unit_table, file=file, at=("simulation", "unit"))
    except ConfigError as error:
        problems.extend(error.problems)
    try:
        truth = validate(SimulationTruth, tables, file=file, at=("simulation",))
    except ConfigError as error:
        problems.extend(error.problems)
    if problems:
        raise ConfigError(tuple(problems))
    return truth, unit


def _section(bench: BenchFile, file: str) -> SimulationSection:
    if bench.simulation is None:
        problem = Problem(
            file=file, key="simulation", got="nothing", allowed="a [simulation] table, to simulate this bench"
        )
        raise ConfigError((problem,))
    return bench.simulation


def _model(section: SimulationSection, file: str) -> type[UnitTruth]:
    model = DEVICES.get(section.device)
    if model is None:
        allowed = "one of " + ", ".join(sorted(DEVICES))
        raise ConfigError((Problem(file=file, key="simulation.device", got=repr(section.device), allowed=allowed),))
    return model
