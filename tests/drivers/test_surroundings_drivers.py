"""Chamber, supply and probe by their instrument files: read back, and refused outside what they can do."""

from __future__ import annotations

import pytest

from harness.bench import Chamber, Probe, Supply, Surroundings
from harness.config import InstrumentFile, parse
from harness.drivers import ChamberDriver, ProbeDriver, SupplyDriver
from harness.errors import BenchError, ReadBackDiffers
from tests.drivers.conftest import ROOT, ScriptedLink

FILES = {"chamber": "glen-tc-1", "supply": "lochan-ps-2", "probe": "bealach-tp-1"}
DRIVERS = {"chamber": ChamberDriver, "supply": SupplyDriver, "probe": ProbeDriver}


@pytest.fixture
def rig(slot, pushed_clock):
    def build(role, **answers):
        told = {"*OPC?": "1", "SYST:ERR?": '0,"No error"', **answers}
        link = ScriptedLink(lambda message: f"{told[message]}\n".encode() if message in told else b"")
        text = (ROOT / "configs/instruments" / f"{FILES[role]}.toml").read_text()
        profile = parse(InstrumentFile, text, file=role)
        return DRIVERS[role](link, profile, slot(serial=""), pushed_clock), link

    return build


def test_a_set_point_is_sent_switched_on_and_read_back(rig):
    chamber, link = rig("chamber", **{"TEMP?": "50.0", "TEMP:ACT?": "23.4"})
    assert isinstance(chamber, Chamber)
    assert chamber.set_temperature(50.0) == 50.0
    assert [m for m in link.sent if m.startswith(("TEMP ", "OUTP"))] == ["TEMP 50", "OUTP ON"]
    assert chamber.air_c() == 23.4


def test_a_set_point_that_reads_back_otherwise_is_told(rig):
    chamber, _ = rig("chamber", **{"TEMP?": "49.9"})
    with pytest.raises(ReadBackDiffers, match=r"set 50 °C, reads back 49\.9 °C"):
        chamber.set_temperature(50.0)


def test_a_temperature_it_cannot_make_is_refused_before_anything_is_sent(rig):
    chamber, link = rig("chamber")
    with pytest.raises(BenchError, match="cannot make 86 °C; allowed: -40 to 85 °C"):
        chamber.set_temperature(86.0)
    assert link.sent == []


def test_a_voltage_is_sent_switched_on_and_read_back(rig):
    supply, link = rig("supply", **{"VOLT?": "10.8", "MEAS:VOLT?": "10.79", "MEAS:CURR?": "0.444"})
    assert isinstance(supply, Supply)
    assert supply.set_voltage(10.8) == 10.8
    assert [m for m in link.sent if m.startswith(("VOLT ", "OUTP"))] == ["VOLT 10.8", "OUTP ON"]
    assert supply.measured() == (10.79, 0.444)


def test_a_voltage_that_reads_back_otherwise_is_told(rig):
    supply, _ = rig("supply", **{"VOLT?": "12"})
    with pytest.raises(ReadBackDiffers, match=r"set 10\.8 V, reads back 12 V"):
        supply.set_voltage(10.8)


def test_what_there_is_is_read_by_name(rig):
    probe, _ = rig("probe", **{"MEAS:TEMP?": "25.125"})
    supply, _ = rig("supply", **{"MEAS:VOLT?": "12", "MEAS:CURR?": "0.4"})
    assert isinstance(probe, Probe)
    assert Surroundings(probe=probe, supply=supply).conditions() == {
        "probe_c": 25.125, "supply_v": 12.0, "supply_a": 0.4,
    }  # fmt: skip
    assert Surroundings().conditions() == {}
