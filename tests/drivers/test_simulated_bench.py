"""The drivers on the simulated bench: in memory on a clock that jumps, and on the wire in a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from harness.bench import Interlock
from harness.bench.conformance import check_adapter, check_device, check_instrument, check_link, check_source
from harness.config import BenchFile, parse
from harness.drivers import AdapterDriver, DeviceDriver, RealClock, SourceDriver, Watchdog, open_link
from harness.errors import BenchError, LinkLost, ReadTimeout, RefusedUnsafe, StationFault
from harness.simulated import JumpClock, build_world
from harness.values import Setting

ROLES = ("source", "device", "adapter")
SERVE = """
import json, sys
from harness.config import BenchFile, parse
from harness.drivers import RealClock
from harness.simulated import build_world, serve
bench = parse(BenchFile, sys.argv[1], file="bench")
world = build_world(bench, seed=1, faults=(), clock=RealClock(), file="bench")
serve(world, announce=lambda found: print(json.dumps(found), flush=True), until_eof=0)
"""


class Rig:
    """Links, drivers and what they were built from."""

    def __init__(self, bench, device_file, profile, links, clock, slots=None):
        slots = slots or {role: getattr(bench, role) for role in ROLES}
        limits = {limit.impedance_ohm: limit.max_vpk for limit in device_file.input.limit}
        interlock = Interlock(limits, impedance_ohm=device_file.input.impedance_ohm)
        self.links, self.slots, self.device_file = links, slots, device_file
        self.source = SourceDriver(
            links["source"], profile("source"), slots["source"], bench.wiring, interlock, clock, bench.max_level_vpk
        )
        self.device = DeviceDriver(links["device"], profile("device"), slots["device"], device_file, clock)
        self.adapter = AdapterDriver(links["adapter"], profile("adapter"), slots["adapter"], device_file.bus, clock)

    def reading(self):
        """A level on a setting, as a sweep does it: codes and the words seen."""
        self.source.prepare()
        self.device.prepare()
        self.source.set_frequency(self.device_file.acquisition.frequency_hz)
        self.adapter.arm()
        self.device.select(Setting(2, 4, 5))
        capture = self.adapter.fetch()
        self.source.set_level(0.25)
        self.source.output_on()
        waveform = self.device.acquire(2)
        self.source.output_off()
        return waveform, capture


def bench_text(**vias):
    text = (Path(__file__).resolve().parents[2] / "configs/benches/simulated.toml").read_text()
    for old, new in vias.items():
        assert f'via = "{old}"' in text
        text = text.replace(f'via = "{old}"', f'via = "{new}"', 1)
    return text


@pytest.fixture
def in_memory(device_file, profile):
    def build(*faults):
        bench = parse(BenchFile, bench_text(), file="bench")
        clock = JumpClock()
        world = build_world(bench, seed=1, faults=faults, clock=clock, file="bench")
        return Rig(bench, device_file, profile, {role: world.link(role) for role in ROLES}, clock)

    return build


@pytest.mark.parametrize("role", ROLES)
def test_links_in_memory_keep_the_contract(in_memory, role):
    check_link(in_memory().links[role], idle=True)


def test_drivers_in_memory_keep_the_contract(in_memory):
    rig = in_memory()
    check_source(rig.source, frequency_hz=2125.0, level_vpk=0.1)
    check_device(rig.device, setting=Setting(3, 7, 20))
    check_adapter(rig.adapter)


def test_a_reading_in_memory(in_memory):
    rig = in_memory()
    waveform, capture = rig.reading()
    # Coarse 4 is the 1 V range; 0.5 V peak to peak at fine position 5 (85 %) fills 59 % of the converter.
    span = int(waveform.codes.max()) - int(waveform.codes.min())
    assert span / 4096 == pytest.approx(0.5 / 0.85, rel=0.05)
    assert capture.times_ns.size > 100
    assert capture.dropped == 0
    assert in_memory().reading()[0].codes.tolist() == waveform.codes.tolist()


@pytest.mark.parametrize("kind", ["silent", "closed", "truncated"])
@pytest.mark.parametrize("after", [0, 2, 5])
def test_trouble_on_a_link_is_survived(in_memory, kind, after):
    rig = in_memory()
    rig.device.prepare()
    rig.links["device"].misbehave(kind, after)
    trouble = []
    for _ in range(2):
        try:
            rig.device.select(Setting(1, 2, 3))
        except (ReadTimeout, LinkLost, BenchError) as error:
            trouble.append(error)
            rig.device.resynchronise()
    assert len(trouble) == 1
    assert rig.device.select(Setting(1, 2, 3)) == rig.device.select(Setting(1, 2, 3))


def test_a_mis_set_load_is_a_station_fault(in_memory):
    rig = in_memory("source-load-mis-set")
    with pytest.raises(StationFault, match="the load reads back as 50 Ω; the bench file wants high-z"):
        rig.source.prepare()


def test_the_interlock_is_asked_before_the_bench(in_memory):
    rig = in_memory()
    with pytest.raises(RefusedUnsafe):
        rig.source.set_level(11.0)


@pytest.fixture
def on_the_wire(device_file, profile):
    """Serves a bench by one of its transports; stops it afterwards."""
    started = []

    def build(**vias):
        text = bench_text(**vias)
        child = subprocess.Popen(
            [sys.executable, "-c", SERVE, text],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
            text=True,
        )
        started.append((child, links := {}))
        addresses = json.loads(child.stdout.readline())
        bench = parse(BenchFile, text, file="bench")
        slots = {role: getattr(bench, role).model_copy(update={"address": addresses[role]}) for role in ROLES}
        for role in ROLES:
            links[role] = open_link(slots[role], role=role)
        return Rig(bench, device_file, profile, links, RealClock(), slots)

    yield build
    for child, links in started:
        for link in links.values():
            link.close()
        child.stdin.close()
        child.stdout.close()
        child.wait(10.0)


@pytest.mark.wire
@pytest.mark.parametrize("vias", [{}, {"hislip": "socket", "socket": "hislip", "pty": "tcp-serial"}], ids=["a", "b"])
def test_the_wire_keeps_the_contract(on_the_wire, vias):
    rig = on_the_wire(**vias)
    check_source(rig.source, frequency_hz=2125.0, level_vpk=0.1)
    check_device(rig.device, setting=Setting(3, 7, 20))
    check_adapter(rig.adapter)
    for role in ROLES:
        check_link(rig.links[role])
    waveform, capture = rig.reading()
    span = int(waveform.codes.max()) - int(waveform.codes.min())
    assert span / 4096 == pytest.approx(0.5 / 0.85, rel=0.05)
    assert capture.times_ns.size > 100
    for role in ROLES:
        check_link(rig.links[role], closing=True)


@pytest.mark.wire
def test_the_watchdog_switches_a_served_source_off(on_the_wire, profile):
    rig = on_the_wire()
    rig.source.prepare()
    rig.source.set_level(0.5)
    rig.source.output_on()
    assert rig.source._query("OUTP?") == "1"
    with Watchdog(rig.slots["source"], profile("source")):
        pass
    assert rig.source._query("OUTP?") == "0"
    check_instrument(rig.source)
