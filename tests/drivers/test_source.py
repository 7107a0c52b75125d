from __future__ import annotations

import math

import pytest

from harness.bench import Interlock
from harness.config.bench_file import Wiring
from harness.drivers import SourceDriver
from harness.drivers.source import UNIT_PER_VPK
from harness.errors import (
    BadReply,
    BenchError,
    ConfigError,
    LinkLost,
    ReadBackDiffers,
    ReadTimeout,
    RefusedUnsafe,
    StationFault,
)


def test_prepare_switches_off_before_anything_else(source_rig):
    driver, instrument, link = source_rig()
    driver.prepare()
    assert link.sent == [
        "OUTP OFF", "OUTP?", "*CLS", "VOLT:OFFS 0", "FUNC SIN", "OUTP:LOAD INF", "*OPC?", "SYST:ERR?", "OUTP:LOAD?",
    ]  # fmt: skip
    assert instrument.values["OUTP"] == "0"


def test_levels_go_out_in_the_profiles_unit(source_rig):
    driver, _, link = source_rig()
    driver.prepare()
    link.sent.clear()
    assert driver.set_level(0.75) == pytest.approx(0.75, rel=1e-9)
    assert link.sent == ["VOLT 1.5", "*OPC?", "SYST:ERR?", "VOLT?"]


def test_units_of_a_sine():
    # 1 V peak is 2 V peak to peak and 1/sqrt(2) V rms.
    assert {"vpk": 1.0, "vpp": 2.0, "vrms": pytest.approx(0.70710678118654752)} == UNIT_PER_VPK


def test_output_on_and_off_are_read_back(source_rig):
    driver, instrument, link = source_rig()
    driver.prepare()
    driver.set_level(1.0)
    driver.output_on()
    assert instrument.values["OUTP"] == "1"
    driver.output_off()
    assert instrument.values["OUTP"] == "0"
    assert link.sent[-1] == "OUTP?"


@pytest.mark.parametrize("told", ["high-z", 50.0])
def test_range_for_the_load_told(source_rig, told):
    driver, _, _ = source_rig(told_ohm=told)
    share = 1.0 if told == "high-z" else 0.5
    assert driver.min_vpk == pytest.approx(0.0005 * share)
    assert driver.max_vpk == pytest.approx(10.0 * share)


# ---- the interlock: refused before a byte is sent


@pytest.mark.parametrize(
    ("told", "level_vpk", "limit"),
    [
        ("high-z", 3.001, "limit at 1e[+]06 Ω is 3 V peak"),
        (50.0, 1.501, "asked for 1.501 V peak, 3.002 V peak with the load gone"),
        ("high-z", math.nan, "limit"),
        ("high-z", math.inf, "limit"),
        ("high-z", -0.1, "limit"),
    ],
)
def test_a_level_above_the_devices_limit_is_refused_before_anything_is_sent(source_rig, told, level_vpk, limit):
    driver, _, link = source_rig(told_ohm=told, limit_vpk=3.0)
    with pytest.raises(RefusedUnsafe, match=limit) as caught:
        driver.set_level(level_vpk)
    assert link.sent == []
    assert caught.value.limit_vpk == 3.0


def test_the_limit_itself_is_allowed(source_rig):
    driver, _, _ = source_rig(told_ohm=50.0, limit_vpk=3.0)
    assert driver.set_level(1.5) == 1.5


def test_the_bench_files_limit_counts_too(source_rig):
    driver, _, link = source_rig(told_ohm=50.0, max_level_vpk=4.0)
    with pytest.raises(RefusedUnsafe, match=r"4.2 V peak with the load gone: the bench file allows 4 V peak") as caught:
        driver.set_level(2.1)
    assert (caught.value.asked_vpk, caught.value.limit_vpk) == (4.2, 4.0)
    assert link.sent == []


def test_a_change_of_impedance_is_seen_at_the_next_level_and_the_next_output_on(source_rig):
    driver, _, link = source_rig()
    driver.set_level(6.0)
    driver.interlock.impedance_changed(50.0)  # limit 5 V peak
    link.sent.clear()
    with pytest.raises(RefusedUnsafe):
        driver.output_on()
    with pytest.raises(RefusedUnsafe):
        driver.set_level(6.0)
    assert link.sent == []


def test_output_on_needs_a_level_since_prepare(source_rig):
    driver, _, link = source_rig()
    driver.set_level(1.0)
    driver.prepare()
    link.sent.clear()
    with pytest.raises(RefusedUnsafe, match="no level was set since the source was prepared"):
        driver.output_on()
    assert link.sent == []


def test_output_on_needs_a_level_since_trouble(source_rig):
    driver, _, _ = source_rig()
    driver.set_level(1.0)
    driver.resynchronise()
    with pytest.raises(RefusedUnsafe, match="no level was set"):
        driver.output_on()


@pytest.mark.parametrize("level_vpk", [0.0, 0.0004, 10.5])
def test_a_level_that_the_source_cannot_make(source_rig, level_vpk):
    driver, _, link = source_rig(max_level_vpk=20.0)
    with pytest.raises(BenchError, match=r"cannot make .* V peak.*allowed: 0.0005 to 10 V peak") as caught:
        driver.set_level(level_vpk)
    assert not isinstance(caught.value, RefusedUnsafe)
    assert link.sent == []


@pytest.mark.parametrize("frequency_hz", [0.05, 2.0e6, math.nan])
def test_a_frequency_that_the_source_cannot_make(source_rig, frequency_hz):
    driver, _, link = source_rig()
    with pytest.raises(BenchError, match=r"cannot make .* Hz; allowed: 0.1 to 1e\+06 Hz"):
        driver.set_frequency(frequency_hz)
    assert link.sent == []


# ---- read-backs


def test_a_level_changed_by_the_source_differs(source_rig):
    driver, instrument, _ = source_rig()
    instrument.overrides["VOLT?"] = b"2.02\n"
    with pytest.raises(ReadBackDiffers, match=r"set 1 V peak, reads back 1.01 V peak; allowed: within 0.5 %"):
        driver.set_level(1.0)
    instrument.overrides["VOLT?"] = b"2.009\n"
    assert driver.set_level(1.0) == pytest.approx(1.0045)


def test_a_frequency_changed_by_the_source_differs(source_rig):
    driver, instrument, _ = source_rig()
    instrument.overrides["FREQ?"] = b"2100\n"
    with pytest.raises(ReadBackDiffers, match="set 2125 Hz, reads back 2100 Hz"):
        driver.set_frequency(2125.0)


@pytest.mark.parametrize("reply", [b"9.91E37\n", b"9.9E+37\n", b"-9.9E37\n", b"nan\n", b"inf\n", b"1 V\n", b"\n"])
def test_no_number_passes_as_a_level(source_rig, reply):
    driver, instrument, _ = source_rig()
    instrument.overrides["VOLT?"] = reply
    with pytest.raises(BadReply, match="allowed: a finite number"):
        driver.set_level(1.0)


@pytest.mark.parametrize(
    ("told", "reads", "words"),
    [
        ("high-z", "50", "the load reads back as 50 Ω; the bench file wants high-z"),
        (50.0, "9.9E+37", "the load reads back as high-z; the bench file wants 50 Ω"),
        (50.0, "75", "the load reads back as 75 Ω; the bench file wants 50 Ω"),
    ],
)
def test_another_load_is_a_station_fault(source_rig, told, reads, words):
    driver, instrument, _ = source_rig(told_ohm=told)
    instrument.overrides["OUTP:LOAD?"] = reads.encode() + b"\n"
    with pytest.raises(StationFault, match=words) as caught:
        driver.prepare()
    assert caught.value.fault == "source-load-mis-set"
    assert instrument.values["OUTP"] == "0"


def test_a_load_that_is_no_number_is_a_bad_reply(source_rig):
    driver, instrument, _ = source_rig()
    instrument.overrides["OUTP:LOAD?"] = b"what\n"
    with pytest.raises(BadReply, match="got 'what'; allowed: a number"):
        driver.prepare()


@pytest.mark.parametrize("reads", ["INF", "9.9E37", "1e38"])
def test_ways_to_say_high_z(source_rig, reads):
    driver, instrument, _ = source_rig()
    instrument.overrides["OUTP:LOAD?"] = reads.encode() + b"\n"
    driver.prepare()


def test_an_output_that_stays_on_differs(source_rig):
    driver, instrument, _ = source_rig()
    instrument.overrides["OUTP?"] = b"1\n"
    with pytest.raises(ReadBackDiffers, match="the output was switched off and reads back on"):
        driver.output_off()


def test_an_output_state_that_is_no_state(source_rig):
    driver, instrument, _ = source_rig()
    instrument.overrides["OUTP?"] = b"maybe\n"
    with pytest.raises(BadReply, match="got 'maybe'; allowed: 1, ON, 0 or OFF"):
        driver.output_off()


# ---- safe_off


def test_safe_off_after_a_timeout_resynchronises_once(source_rig):
    driver, instrument, link = source_rig()
    driver.set_level(1.0)
    driver.output_on()
    link.failures = [("read_line", ReadTimeout("late"))]
    with pytest.raises(ReadTimeout):
        driver.set_level(2.0)
    link.sent.clear()
    driver.safe_off()
    assert instrument.values["OUTP"] == "0"
    assert link.sent[0] == "OUTP OFF"
    assert link.calls.count("clear") == 1


def test_safe_off_works_with_old_errors_in_the_queue(source_rig):
    driver, instrument, _ = source_rig()
    instrument.errors = ['-113,"Undefined header"']
    driver.safe_off()
    assert instrument.values["OUTP"] == "0"


def test_safe_off_on_a_dead_link_says_that_it_is_lost(source_rig):
    driver, _, link = source_rig()
    for name in ("write", "read_line", "clear", "reopen"):
        link.failures += [(name, LinkLost("gone"))] * 9
    with pytest.raises(LinkLost, match="after 3 tries"):
        driver.safe_off()


def test_safe_off_tries_once_more_on_the_reopened_link(source_rig):
    driver, instrument, link = source_rig()
    driver.set_level(1.0)
    driver.output_on()
    # The old connection takes nothing more; the new one carries commands, but no answer ever comes back.
    link.failures = [("write", LinkLost("gone"))] * 2
    link.failures += [("read_line", ReadTimeout("silent"))] * 20
    with pytest.raises(LinkLost, match="after 3 tries"):
        driver.safe_off()
    assert link.sent[-1] == "OUTP OFF"
    assert instrument.values["OUTP"] == "0"


def test_a_profile_of_no_source_is_refused(profile, slot, pushed_clock, scripted_link):
    with pytest.raises(ConfigError, match="ranges: got nothing; allowed: ranges of a source"):
        SourceDriver(
            scripted_link(lambda message: b""),
            profile("device"),
            slot(),
            Wiring(load_ohm=1e6, told_ohm="high-z"),
            Interlock({1e6: 1.0}, impedance_ohm=1e6),
            pushed_clock,
            1.0,
        )
