"""Steady levels from a source: limits of either sign, never while a sine is on, back to sines by preparing."""

from __future__ import annotations

import math

import pytest

from harness.config import InstrumentFile, parse
from harness.errors import BenchError, ConfigError, ReadBackDiffers, RefusedUnsafe
from tests.drivers.conftest import ROOT

PROFILE = (ROOT / "configs" / "instruments" / "machair-sg-1.toml").read_text(encoding="utf-8")


def test_a_steady_level_is_set_read_back_and_put_out(source_rig):
    driver, _, link = source_rig()
    driver.prepare()
    link.sent.clear()
    assert driver.set_steady(-1.25) == -1.25
    assert link.sent == ["FUNC DC", "VOLT:OFFS -1.25", "*OPC?", "SYST:ERR?", "VOLT:OFFS?"]
    driver.output_on()
    # A step of the level with the output on, as a dither needs it.
    assert driver.set_steady(-1.2502) == -1.2502
    driver.output_off()


@pytest.mark.parametrize("level_v", [3.001, -3.001, math.nan, math.inf])
def test_the_limits_hold_for_both_signs_before_a_byte_is_sent(source_rig, level_v):
    driver, _, link = source_rig(limit_vpk=3.0)
    driver.prepare()
    link.sent.clear()
    with pytest.raises(RefusedUnsafe, match="limit"):
        driver.set_steady(level_v)
    assert link.sent == []


def test_the_load_that_may_be_gone_counts(source_rig):
    driver, _, link = source_rig(told_ohm=50.0, limit_vpk=3.0)
    driver.prepare()
    link.sent.clear()
    with pytest.raises(RefusedUnsafe, match=r"3.002 V peak with the load gone"):
        driver.set_steady(-1.501)
    assert link.sent == []


def test_never_while_a_sine_may_be_put_out(source_rig):
    driver, _, link = source_rig()
    with pytest.raises(RefusedUnsafe, match="while a sine may be put out; switch the output off first"):
        driver.set_steady(0.5)  # nobody knows yet whether it is on
    driver.prepare()
    driver.set_level(1.0)
    driver.output_on()
    link.sent.clear()
    with pytest.raises(RefusedUnsafe, match="while a sine may be put out"):
        driver.set_steady(0.5)
    assert link.sent == []
    driver.output_off()
    driver.set_steady(0.5)


def test_the_way_back_to_sines_is_to_prepare(source_rig):
    driver, _, link = source_rig()
    driver.prepare()
    driver.set_steady(0.5)
    link.sent.clear()
    with pytest.raises(RefusedUnsafe, match="puts out steady levels; prepare it for sines first"):
        driver.set_level(0.5)
    assert link.sent == []
    driver.prepare()
    assert link.sent[:5] == ["OUTP OFF", "OUTP?", "*CLS", "VOLT:OFFS 0", "FUNC SIN"]
    with pytest.raises(RefusedUnsafe, match="no level was set"):
        driver.output_on()
    driver.set_level(0.5)


def test_what_it_holds_must_be_what_was_sent(source_rig):
    driver, instrument, _ = source_rig()
    driver.prepare()
    honest = instrument.answer
    instrument.answer = lambda message: b"0.5001\n" if message == "VOLT:OFFS?" else honest(message)
    with pytest.raises(ReadBackDiffers, match=r"set 0.5 V steady, reads back 0.5001 V; allowed: within 1e-05 V"):
        driver.set_steady(0.5)
    with pytest.raises(RefusedUnsafe, match="no level was set"):
        driver.output_on()


def test_more_than_it_can_and_a_source_that_cannot_at_all(source_rig):
    driver, _, _ = source_rig(limit_vpk=20.0, max_level_vpk=20.0)
    driver.prepare()
    with pytest.raises(BenchError, match=r"cannot make -10.5 V steady; allowed: -10 to 10 V into the load it is told"):
        driver.set_steady(-10.5)
    plain = "\n".join(line for line in PROFILE.splitlines() if not line.startswith("steady"))
    driver, _, _ = source_rig(file=parse(InstrumentFile, plain, file="plain.toml"))
    driver.prepare()
    with pytest.raises(BenchError, match=r"cannot make 0.5 V steady; allowed: no steady level, for"):
        driver.set_steady(0.5)


def test_the_step_comes_with_the_verbs():
    for gone in ("steady_step_v", "steady = ", "steady_query"):
        text = "\n".join(line for line in PROFILE.splitlines() if not line.startswith(gone))
        with pytest.raises(ConfigError, match=r"steady"):
            parse(InstrumentFile, text, file="source.toml")
