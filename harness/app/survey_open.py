"""A device asked what it is, before there is a device file: its link alone is opened, nothing is set or driven."""

from __future__ import annotations

from collections.abc import Sequence

from harness.app.setup import BenchSetup
from harness.bench import Clock, Link
from harness.config.instrument_file import FACTS, LISTS
from harness.drivers import RealClock, SurveyDriver, open_link
from harness.simulated import JumpClock, build_world
from harness.values import Surveyed


def can_be_asked(setup: BenchSetup, verbs: Sequence[str] = (*LISTS, *FACTS)) -> bool:
    """Whether the profile of the device has one of these questions."""
    return any(verb in setup.profiles["device"].commands for verb in verbs)


def survey(setup: BenchSetup, *, seed: int | None, faults: tuple[str, ...]) -> Surveyed:
    """What the device says of itself; a BenchError where it does not answer, or not as its profile says."""
    slot, profile, simulation = setup.file.device, setup.profiles["device"], setup.file.simulation
    clock: Clock
    link: Link
    if simulation is None:
        link, clock = open_link(slot, role="device"), RealClock()
    else:
        clock = JumpClock()
        chosen_seed = simulation.seed if seed is None else seed
        world = build_world(setup.file, seed=chosen_seed, faults=faults, clock=clock, file=setup.path)
        link = world.link("device")
    driver = SurveyDriver(link, profile, slot, clock)
    try:
        driver.identify()
        driver.drain_errors()
        return driver.survey()
    finally:
        driver.close()
