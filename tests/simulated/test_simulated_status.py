"""Common commands, status byte, error queue: IEEE 488.2-1992 and SCPI-1999 vol. 2, 21.8."""

from __future__ import annotations

import pytest

ROLES = ("source", "device", "adapter")


@pytest.mark.parametrize("role", ROLES)
def test_identity_and_plain_answers(desk, role):
    maker = {"source": "Machair,SG-1,MA000001", "device": "Skerry,HR-4,SK000001", "adapter": "Strath,BA-1,BA000001"}
    assert desk.ask(role, "*IDN?") == maker[role] + ",1.0"
    assert desk.ask(role, "*TST?;*OPC?;SYST:VERS?") == "0;1;1999.0"
    assert desk.ask(role, "SYST:ERR?") == '0,"No error"'


def test_power_on_then_command_execution_and_device_events(desk):
    assert desk.ask("source", "*ESR?") == "128"
    assert desk.ask("source", "*ESR?") == "0"
    desk.tell("source", "FOO", "VOLT 99")
    assert desk.ask("source", "*ESR?") == str(32 + 16)


def test_operation_complete_event_comes_when_it_is_true(desk):
    desk.tell("source", "*CLS", "OUTP ON;*OPC")
    assert desk.ask("source", "*ESR?") == "0"
    desk.clock.sleep(0.002)
    assert desk.ask("source", "*ESR?") == "1"
    desk.tell("source", "*OPC")
    assert desk.ask("source", "*ESR?") == "1"


def test_status_byte(desk):
    desk.tell("source", "*CLS", "*ESE 32;*SRE 36")
    assert desk.ask("source", "*STB?") == "0"
    desk.tell("source", "FOO")
    # Error queue 4, event summary 32, master summary 64; 16 for the answer before it in the same message.
    assert desk.ask("source", "*STB?") == str(4 + 32 + 64)
    assert desk.ask("source", "*ESE?;*STB?") == f"32;{4 + 16 + 32 + 64}"
    assert desk.world.source.status_byte() == 100
    assert desk.world.source.status_byte(message_available=True) == 116
    desk.tell("source", "*CLS")
    assert desk.ask("source", "*STB?;*ESE?;*SRE?") == "0;32;36"


def test_queue_overflows_with_one_entry_and_survives_a_reset(desk):
    for _ in range(25):
        desk.tell("source", "FOO")
    desk.tell("source", "*RST")
    assert desk.ask("source", "SYST:ERR:COUN?") == "20"
    assert int(desk.ask("source", "*ESR?")) & 8
    assert desk.errors("source") == [-113] * 19 + [-350]


def test_the_whole_queue_at_once_and_the_long_way(desk):
    desk.tell("device", "FOO", "INP1:RANG 3")
    assert desk.ask("device", "SYSTem:ERRor:ALL?").startswith('-113,"Undefined header;FOO",-222,"Data out of range')
    assert desk.ask("device", "SYSTEM:ERROR:NEXT?") == '0,"No error"'


def test_waiting_orders_the_units_of_a_message(desk):
    desk.tell("device", "INP1:RANG 5;*WAI;:INIT")
    began_s = desk.world.device.now_s
    assert began_s == pytest.approx(desk.clock.now_s() + 0.001)


def test_complete_waits_for_the_longest(desk):
    began_s = desk.clock.now_s()
    desk.tell("device", "INP1:RANG 2;FINE 97")
    assert desk.ask("device", "*OPC?") == "1"
    assert desk.clock.now_s() - began_s == pytest.approx(0.0102, abs=1e-9)
