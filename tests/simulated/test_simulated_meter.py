"""The simulated meter: the true level at the source's terminals, and an error of its own."""

from __future__ import annotations

import math

import pytest

METERED = "simulated-metered.toml"


def plain(text: str) -> str:
    """A meter and a source without errors."""
    for key in ("common_percent = 0.05", "range_percent = 0.02", "common_percent = 2.0", "range_percent = 0.5  "):
        text = text.replace(key, f"{key.split(' =')[0]} = 0.0  ")
    return text


def level_vrms(desk, vpp):
    desk.drive(vpp)
    desk.clock.sleep(0.01)
    return float(desk.ask("meter", "READ?"))


def test_it_reads_the_level_behind_the_sources_own_resistance(make_desk):
    desk = make_desk(bench=METERED, change=plain)
    expected = 1.0 / 2.0 / math.sqrt(2.0) * 250.0e3 / 250.05e3
    assert level_vrms(desk, 1.0) == pytest.approx(expected, rel=1e-5)
    assert desk.errors("meter") == []


def test_with_the_output_off_there_is_nothing(make_desk):
    desk = make_desk(bench=METERED)
    desk.tell("source", "OUTP OFF")
    desk.clock.sleep(0.1)
    assert float(desk.ask("meter", "READ?")) == 0.0
    assert desk.ask("meter", "*IDN?") == "Cairn,AM-2,CA000001,1.0"


def test_a_reading_takes_its_time(make_desk):
    desk = make_desk(bench=METERED)
    began_s = desk.clock.now_s()
    level_vrms(desk, 1.0)
    assert desk.clock.now_s() - began_s >= 0.02


def test_its_errors_stay_within_their_limits_and_are_those_of_the_seed(make_desk):
    def no_source_error(text):
        return text.replace("common_percent = 2.0", "common_percent = 0.0").replace(
            "range_percent = 0.5  ", "range_percent = 0.0  "
        )

    true = 1.0 / 2.0 / math.sqrt(2.0) * 250.0e3 / 250.05e3
    off = [level_vrms(make_desk(bench=METERED, change=no_source_error, seed=s), 1.0) / true - 1.0 for s in range(20)]
    assert max(map(abs, off)) < 0.0007
    assert len({round(value, 7) for value in off}) > 15
    again = level_vrms(make_desk(bench=METERED, change=no_source_error, seed=3), 1.0) / true - 1.0
    assert again == off[3]


def test_a_meter_that_drifted_reads_more_and_the_level_stays(make_desk):
    right = make_desk(bench=METERED, change=plain)
    drifted = make_desk("reference-meter-drifted=3", bench=METERED, change=plain)
    assert level_vrms(drifted, 1.0) / level_vrms(right, 1.0) == pytest.approx(1.03, rel=1e-5)
