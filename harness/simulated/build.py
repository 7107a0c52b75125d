"""From a bench file to a simulated bench."""

from __future__ import annotations

import math

from harness.bench import Clock
from harness.config import BenchFile, SimulationSection, validate
from harness.errors import ConfigError, Problem
from harness.simulated.adapter import SimulatedAdapter
from harness.simulated.bus import Bus
from harness.simulated.cable import Cable
from harness.simulated.commanded import CommandedDevice
from harness.simulated.corrie_ur2 import CorrieTruth
from harness.simulated.device import SimulatedDevice
from harness.simulated.fault import Fault
from harness.simulated.injection import read_fault
from harness.simulated.parameters import PadTruth, SimulationTruth
from harness.simulated.skerry_hr4 import SkerryTruth
from harness.simulated.source import SimulatedSource
from harness.simulated.streams import within
from harness.simulated.tarn_vg1 import TarnTruth
from harness.simulated.unit import UnitTruth
from harness.simulated.world import World

DEVICES: dict[str, type[UnitTruth]] = {"skerry-hr-4": SkerryTruth, "tarn-vg-1": TarnTruth, "corrie-ur-2": CorrieTruth}
"""Simulated devices by the name in [simulation], and the tables of each."""


def build_world(bench: BenchFile, *, seed: int, faults: tuple[str, ...], clock: Clock, file: str) -> World:
    """A simulated bench, every part of it drawn from `seed`.

    ConfigError names each bad key of the [simulation] section of `file`; UsageError a fault text that cannot be
    carried out.
    """
    section = _section(bench, file)
    truth, unit = _truths(section, file)
    injected = tuple(read_fault(text, unit=unit) for text in faults)
    source = SimulatedSource(truth.source, clock, seed=seed, faults=injected)
    cable = Cable(
        source,
        source_ohm=truth.source.output_ohm,
        inputs_ohm=truth.pad.input_ohm or unit.input_ohm / unit.channels,
        pad_ratio=_pad_ratio(truth.pad, seed),
        faults=injected,
    )
    bus = Bus(unit.bus, seed=seed)
    device = _device(unit, clock, seed=seed, faults=injected, cable=cable, bus=bus)
    adapter = SimulatedAdapter(truth.adapter, clock, bus=bus, device=device) if bench.adapter is not None else None
    return World(bench=bench, clock=clock, source=source, device=device, adapter=adapter, cable=cable, bus=bus)


def _device(
    unit: UnitTruth, clock: Clock, *, seed: int, faults: tuple[Fault, ...], cable: Cable, bus: Bus
) -> SimulatedDevice:
    axes = unit.axes
    if axes is None:
        return SimulatedDevice(unit, clock, seed=seed, faults=faults, cable=cable, bus=bus)
    return CommandedDevice(unit, clock, axes=axes, seed=seed, faults=faults, cable=cable, bus=bus)


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
