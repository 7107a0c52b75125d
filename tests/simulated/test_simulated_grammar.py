"""The SCPI reader, by what the error queue says. Rules: IEEE 488.2 and SCPI-1999 vol. 1; codes: vol. 2, 21.8."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.simulated.error_list import TEXTS, Refusal
from harness.simulated.value import shown


@pytest.mark.parametrize(
    "header",
    [
        "VOLT",
        "volt",
        "VOLTAGE",
        "Voltage",
        "SOUR:VOLT",
        "SOURce:VOLTage",
        ":SOUR:VOLT:LEV",
        "VOLT:LEV:IMM:AMPL",
        "VOLT:AMPL",
        "VOLT:IMM",
        "SOURCE:VOLTAGE:LEVEL:IMMEDIATE:AMPLITUDE",
        "VOLT:LEVel:AMPL",
        "VOLT1",
    ],
)
def test_short_long_and_optional_nodes_all_reach_the_level(desk, header):
    desk.tell("source", f"{header} 0.3")
    assert desk.ask("source", f"{header}?") == "0.3"
    assert desk.errors("source") == []


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0.3", "0.3"),
        ("+.3", "0.3"),
        ("3E-1", "0.3"),
        ("3 e -1", "0.3"),
        ("30.E-2", "0.3"),
        ("300 mV", "0.3"),
        ("300MV", "0.3"),
        ("300 mVPP", "0.3"),
        ("0.3V", "0.3"),
        ("0.3 VPP", "0.3"),
        ("3E5UV", "0.3"),
        ("0.3E-3KV", "0.3"),
        ("0.1 VRMS", "0.2828"),
        ("MIN", "0.0005"),
        ("MAXimum", "10"),
        ("DEF", "0.1"),
        ("#H1", "1"),
        ("#Q2", "2"),
        ("#B1", "1"),
        ("0.12345", "0.1235"),
    ],
)
def test_numbers_units_and_words(desk, text, value):
    # Told 50 ohm at power-on, so the limits are half of 1 mV and 20 V peak to peak.
    desk.tell("source", f"VOLT {text}")
    assert desk.ask("source", "VOLT?") == value
    assert desk.errors("source") == []


@pytest.mark.parametrize(("text", "hertz"), [("2.125kHz", "2125"), ("0.5 MHZ", "500000"), ("100000 mhz", "")])
def test_m_before_hertz_is_mega(desk, text, hertz):
    desk.tell("source", "FREQ 10", f"FREQ {text}")
    assert desk.ask("source", "FREQ?") == (hertz or "10")
    assert desk.errors("source") == ([] if hertz else [-222])


@pytest.mark.parametrize(
    ("message", "code"),
    [
        ("VOLT 1\x07", -101),
        ("VOLT \xb51", -101),
        ("::VOLT 1", -102),
        ("VOLT::AMPL 1", -102),
        ("5", -102),
        (":", -102),
        ("VOLT 1,,2", -102),
        ("VOLT ,", -102),
        ("VOLT?? ", -102),
        ("VOLT 1 2", -103),
        ("FREQ 1,2", -108),
        ("*RST 1", -108),
        ("FREQ? MAX,MIN", -108),
        ("VOLT", -109),
        ("OUTP", -109),
        ("VOLT'x'", -111),
        ("VOLT,1", -111),
        ("VOLT=1", -111),
        ("VOLTAGEVOLTAGE 1", -112),
        ("FOO 1", -113),
        ("VOLTS 1", -113),
        ("VOL 1", -113),
        ("VOLT:FOO 1", -113),
        ("*FOO", -113),
        ("SOUR 1", -113),
        ("*IDN", -113),
        ("SYST:ERR", -113),
        ("VOLT2 1", -114),
        ("OUTP0 ON", -114),
        ("VOLT 1V2x!", -121),
        ("VOLT 1..2", -121),
        ("VOLT #HXY", -121),
        ("VOLT 1E99999", -123),
        ("VOLT " + "1" * 300, -124),
        ("FUNC 5", -128),
        ("VOLT 1 HZ", -131),
        ("VOLT 1E", -131),
        ("FREQ 1 QHZ", -131),
        ("VOLT 1ABCDEFGHIJKLM", -134),
        ("*ESE 1V", -138),
        ("VOLT LOUD", -141),
        ("VOLT LOUDERANDLOUDER", -144),
        ("VOLT 'x", -151),
        ("VOLT 'x'", -158),
        ('FUNC "SIN"', -158),
        ("VOLT #15abcde", -168),
        ("VOLT (1+1)", -178),
        ("FUNC SQU", -224),
        ("OUTP MAYBE", -224),
        ("VOLT 11", -222),
        ("VOLT 0", -222),
        ("VOLT INF", -141),
        ("FREQ -1", -222),
        ("*SRE 256", -222),
        ("OUTP:LOAD 0", -222),
        ("VOLT? LOUD", -224),
    ],
)
def test_each_wrong_message_queues_its_code_and_changes_nothing(desk, message, code):
    before = desk.ask("source", "VOLT?;FREQ?;OUTP?;OUTP:LOAD?;*ESE?;*SRE?")
    desk.links["source"].write(message.encode("latin-1") + b"\n")
    assert desk.errors("source") == [code]
    assert desk.ask("source", "VOLT?;FREQ?;OUTP?;OUTP:LOAD?;*ESE?;*SRE?") == before


@pytest.mark.parametrize(
    ("message", "code"),
    [("INP5:RANG?", -114), ("INP0:RANG?", -114), ("INP12:RANG?", -114), ("INP1:RANG2?", -114), ("INPX:RANG?", -113)],
)
def test_numeric_suffixes_beyond_the_channels(desk, message, code):
    desk.tell("device", message)
    assert desk.errors("device") == [code]


def test_a_left_out_suffix_is_one(desk):
    desk.tell("device", "INP:RANG 5")
    assert desk.ask("device", "INP1:RANG?;:INPUT:RANGE?;:INP2:RANG?") == "5;5;20"


def test_compound_messages_follow_the_path(desk):
    desk.tell("source", "SOUR:VOLT 0.2;FREQ 500;:OUTP:LOAD 75;STAT ON")
    assert desk.ask("source", "VOLT?;:FREQ?;:OUTP?;OUTP:LOAD?") == "0.24;500;1;75"
    # A common command leaves the path alone; a colon goes back to the root.
    desk.tell("device", "INP3:RANG 2;*CLS;FINE 70;:INP4:FINE 40")
    assert desk.ask("device", "INP3:RANG?;FINE?;:INP4:FINE?") == "2;70;40"
    assert desk.errors("source") == desk.errors("device") == []
    desk.tell("source", "SOUR:FREQ 1000;SOUR:VOLT 1")
    assert desk.errors("source") == [-113]


def test_a_command_error_ends_the_message_an_execution_error_does_not(desk):
    assert desk.ask("source", "FREQ 100;:VOLT 99;:FREQ?;FOO;:FREQ 200") == "100"
    assert desk.ask("source", "FREQ?") == "100"
    assert desk.errors("source") == [-222, -113]


def test_a_query_that_fails_answers_nothing(desk):
    assert desk.world.source.handle(b"FOO?\n") == b""
    assert desk.world.device.handle(b"FETC:CODE?\nFETC:SCAL?\n") == b""
    assert desk.errors("device") == [-230, -230]


def test_messages_of_several_lines_and_with_carriage_returns(desk):
    assert desk.world.source.handle(b"FREQ 100\r\nFREQ?\r\n\n;;\nFREQ?;") == b"100\n100\n"
    assert desk.errors("source") == []


def test_an_overlong_message_is_refused(desk):
    desk.tell("source", "FREQ 5" + "0" * 70_000)
    assert desk.errors("source") == [-363]


def test_numeric_queries_know_their_limits(desk):
    assert desk.ask("source", "VOLT? MIN;VOLT? MAX;VOLT? DEF;:FREQ? MAXIMUM") == "0.0005;10;0.1;1000000"
    assert desk.ask("device", "INP2:RANG? MIN;RANG? MAX;FINE? MIN") == "0.01;20;40"


def test_the_text_of_an_error_names_the_place_in_quotes(desk):
    desk.tell("source", "VOLT 99", 'FOO "a"')
    assert desk.ask("source", "SYST:ERR?") == '-222,"Data out of range;99, allowed 0.0005 to 10"'
    assert desk.ask("source", "SYST:ERR?") == '-113,"Undefined header;FOO ""a"""'


def test_a_refusal_reads_as_code_text_and_detail():
    assert str(Refusal(-222, "99")) == "-222, Data out of range; 99"
    assert str(Refusal(-113)) == "-113, Undefined header"


@given(st.binary(max_size=80))
@settings(max_examples=300, deadline=None)
def test_no_bytes_whatever_stop_the_reader(message):
    instrument = _source()
    answer = instrument.handle(message)
    assert answer == b"" or answer.endswith(b"\n")
    head = instrument.handle(b"SYST:ERR?\n").split(b",")[0]
    assert int(head) in TEXTS


@given(st.floats(min_value=-1e30, max_value=1e30, allow_nan=False))
def test_answered_numbers_read_back(value):
    assert float(shown(value)) == pytest.approx(value, rel=1e-9)


_INSTRUMENTS = []


def _source():
    from harness.config import BenchFile, parse
    from harness.simulated import JumpClock, build_world

    if not _INSTRUMENTS:
        text = (
            'kind="bench"\nversion=1\nname="b"\nmax_level_vpk=1.0\n'
            '[[change]]\nversion=1\ndate=2026-01-01\nowner="o"\nreason="r"\n'
            '[source]\nprofile="s"\n[device]\nprofile="d"\n[wiring]\nload_ohm=1.0\ntold_ohm=50.0\n'
            '[simulation]\ndevice="skerry-hr-4"\n'
        )
        bench = parse(BenchFile, text, file="b.toml")
        _INSTRUMENTS.append(build_world(bench, seed=1, faults=(), clock=JumpClock(), file="b.toml").source)
    return _INSTRUMENTS[0]
