"""Commands of source and device beyond the grammar."""

from __future__ import annotations

import pytest


def test_source_at_power_on_and_after_reset(desk):
    state = "OUTP?;OUTP:LOAD?;FUNC?;FREQ?;VOLT?;VOLT:OFFS?"
    assert desk.ask("source", state.replace(";", ";:")) == "0;50;SIN;1000;0.1;0"
    desk.tell("source", "OUTP:LOAD INF;:VOLT 2;:VOLT:OFFS 1;:FREQ 5;:OUTP ON", "*RST")
    assert desk.ask("source", state.replace(";", ";:")) == "0;50;SIN;1000;0.1;0"


def test_limits_follow_the_load(desk):
    assert desk.ask("source", "VOLT? MIN;VOLT? MAX;:VOLT:OFFS? MAX") == "0.0005;10;5"
    desk.tell("source", "OUTP:LOAD INFinity")
    assert desk.ask("source", "VOLT? MIN;VOLT? MAX;:VOLT:OFFS? MAX") == "0.001;20;10"
    desk.tell("source", "VOLT 20", "OUTP:LOAD 50")
    # What is put out stays, only its name changes.
    assert desk.ask("source", "VOLT?") == "10"
    desk.tell("source", "VOLT 10.01")
    assert desk.errors("source") == [-222]


def test_level_and_offset_together_are_limited(desk):
    desk.tell("source", "OUTP:LOAD INF;:VOLT 10;:VOLT:OFFS 6")
    assert desk.errors("source") == [-221]
    desk.tell("source", "VOLT:OFFS 5", "VOLT 10.1")
    assert desk.errors("source") == [-221]
    assert desk.ask("source", "VOLT?;VOLT:OFFS?") == "10;5"


@pytest.mark.parametrize(
    ("sent", "state"),
    [("ON", "1"), ("1", "1"), ("5", "1"), ("0.6", "1"), ("OFF", "0"), ("0", "0"), ("0.4", "0"), ("off", "0")],
)
def test_output_switch(desk, sent, state):
    desk.tell("source", "OUTP 1" if state == "0" else "OUTP 0", f"OUTPut:STATe {sent}")
    assert desk.ask("source", "OUTP?") == state
    assert desk.world.source.output is (state == "1")


def test_device_at_power_on_and_after_reset(desk):
    state = "INP1:RANG?;FINE?;:INP4:RANG?;FINE?;IMP?;:ACQ:MODE?;POIN?;SRAT?;CHAN?;:FETC:SEQ?"
    assert desk.ask("device", state) == "20;100;20;100;1000000;SAMP;4000;500000;1;0"
    registers = [front_end.register for front_end in desk.world.device.front_ends.values()]
    assert registers == [128] * 4
    desk.tell("device", "INP1:RANG 5;FINE 40;:ACQ:POIN 64;CHAN 3;SRAT 1e5;:INIT")
    assert [front_end.register for front_end in desk.world.device.front_ends.values()] == [256 + 102, 41, 41, 41]
    desk.tell("device", "*RST")
    assert desk.ask("device", state) == "20;100;20;100;1000000;SAMP;4000;500000;1;1"
    assert [front_end.register for front_end in desk.world.device.front_ends.values()] == [41] * 4
    desk.tell("device", "FETC:CODE?")
    assert desk.errors("device") == [-230]


@pytest.mark.parametrize("message", ["INP1:RANG 3", "INP1:RANG 25", "INP1:FINE 99", "INP1:FINE 37", "INP1:RANG 0.0201"])
def test_a_setting_that_does_not_exist_changes_nothing(desk, message):
    desk.select(1, 0.02, 70)
    bursts = desk.world.bus._bursts
    desk.tell("device", message)
    assert desk.errors("device") == [-222]
    assert desk.ask("device", "INP1:RANG?;FINE?") == "0.02;70"
    assert desk.world.bus._bursts == bursts


def test_every_setting_reads_back(desk):
    for volts in (20, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01):
        desk.tell("device", f"INP2:RANG {volts:g}")
        assert float(desk.ask("device", "INP2:RANG?")) == volts
    for percent in range(100, 39, -3):
        desk.tell("device", f"INP2:FINE {percent} PCT")
        assert float(desk.ask("device", "INP2:FINE?")) == percent
    desk.tell("device", "INP2:RANG 500 mV")
    assert desk.ask("device", "INP2:RANG?;:SYST:ERR?") == '0.5;0,"No error"'


def test_the_whole_record_in_one_answer(desk):
    desk.tell("device", "ACQ:POIN 64;:INIT")
    desk.tell("device", "FETC:SCAL?;SEQ?;CODE?")
    link = desk.links["device"]
    # 1 / (0.01 x 41 x 128/255 x 0.5 x 2000)
    assert link.read_exactly(len("0.004858993902;1;#3128")) == b"0.004858993902;1;#3128"
    assert len(link.read_exactly(128)) == 128
    assert link.read_exactly(1) == b"\n"


def test_an_acquisition_under_way_ignores_another(desk):
    desk.tell("device", "INIT;INIT")
    assert desk.ask("device", "FETC:SEQ?") == "1"
    desk.clock.sleep(0.01)
    desk.tell("device", "INIT")
    assert desk.ask("device", "FETC:SEQ?") == "2"
    assert desk.errors("device") == [-213]


def test_scale_belongs_to_the_record_not_to_the_setting(desk):
    desk.select(1, 20, 100)
    desk.codes()
    scale = desk.ask("device", "FETC:SCAL?")
    desk.select(1, 5, 100)
    assert desk.ask("device", "FETC:SCAL?") == scale


def test_device_commands_as_the_shipped_profile_sends_them(desk):
    desk.tell(
        "device", "*CLS", "ACQ:MODE SAMP", "ACQ:POIN 4000", "ACQ:SRAT 500000.0", "INP1:RANG 0.05", "INP1:FINE 70.0"
    )
    assert desk.ask("device", "*OPC?;:INP1:RANG?;:INP1:FINE?;:ACQ:SRAT?;:ACQ:MODE?") == "1;0.05;70;500000;SAMP"
    desk.tell("source", "*CLS", "FUNC SIN", "VOLT:OFFS 0", "OUTP:LOAD INF", "FREQ 2125.0", "VOLT 0.03", "OUTP ON")
    assert desk.ask("source", "*OPC?;OUTP:LOAD?;:FREQ?;:VOLT?;:OUTP?") == "1;9.9E+37;2125;0.03;1"
    desk.tell("source", "OUTP OFF")
    assert desk.ask("source", "OUTP?") == "0"
    assert desk.errors("device") == desk.errors("source") == []
