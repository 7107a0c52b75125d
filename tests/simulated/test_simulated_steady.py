"""Steady levels on the simulated bench: through what is DC coupled alone, in steps, rounded by the converter."""

from __future__ import annotations

import numpy as np
import pytest

from tests.simulated.test_simulated_tarn import load

TARN = "simulated-tarn-vg-1.toml"


def quiet(text):
    """The bench of the Tarn VG-1 whose converter has next to no noise and even codes."""
    return text.replace("converter_code = 0.4", "converter_code = 0.001").replace("dnl_lsb = 0.3 ", "dnl_lsb = 0.0 ")


def steady(desk, volts):
    desk.tell("source", f"OUTP:LOAD INF;:FUNC DC;:VOLT:OFFS {volts!r};:OUTP ON")
    assert desk.ask("source", "*OPC?") == "1"
    desk.clock.sleep(0.005)
    return desk.codes().astype(float)


def test_the_difference_of_two_levels_is_the_gain_of_the_sine(make_desk):
    desk = make_desk(bench=TARN, change=quiet)
    load(desk, 1, 0, 127)
    plus, minus = steady(desk, 0.1), steady(desk, -0.1)
    # 2000 codes/V · 7.0795 · 0.1 V is 1416 codes, 70 % of the span: 0.4 % of spread, 0.4 % of the source.
    assert (plus.mean() - minus.mean()) / 0.2 == pytest.approx(desk.truth(1), rel=0.005)
    assert plus.mean() > 1000.0
    desk.tell("source", "VOLT:OFFS 0;:FUNC SIN")
    desk.drive(0.2)
    assert (plus.mean() - minus.mean()) / 0.2 == pytest.approx(desk.gain(1, vpp=0.2), rel=0.002)


def test_a_steady_level_is_steady_and_the_sine_waits(make_desk):
    desk = make_desk(bench=TARN, change=quiet)
    load(desk, 1, 0, 127)
    desk.drive(0.2)
    assert np.ptp(desk.codes()) > 2000
    assert np.ptp(steady(desk, 0.1)) <= 1
    assert desk.ask("source", "FUNC?;:VOLT?;:VOLT:OFFS?") == "DC;0.2;0.1"
    # The level that waits does not count against a steady one: 8 V of it and 9 V steady are 17 V together.
    desk.tell("source", "OUTP OFF", "VOLT:OFFS 0", "FUNC SIN", "VOLT 16", "FUNC DC", "VOLT:OFFS 9")
    assert desk.errors("source") == []


def test_a_steady_level_has_steps_of_its_own(desk):
    desk.tell("source", "OUTP:LOAD INF;:VOLT:OFFS 1.000004")
    assert desk.ask("source", "VOLT:OFFS?") == "1"
    desk.tell("source", "VOLT:OFFS -1.000006")
    assert float(desk.ask("source", "VOLT:OFFS?")) == pytest.approx(-1.00001, abs=1e-12)


def test_rounding_hides_part_of_a_code_and_a_dither_shows_it(make_desk):
    # Closed form: one level alone is up to half a code wrong in the mean, eight over one code a sixteenth at most.
    desk = make_desk(bench=TARN, change=quiet)
    load(desk, 1, 0, 16)
    code_v = 1.0 / desk.truth(1)
    first = steady(desk, 0.0)

    def found(level_v):
        return float(np.mean(steady(desk, level_v)))

    levels = [0.2 + code_v * k / 16 for k in range(16)]
    alone = np.array([found(level_v) for level_v in levels])
    line = np.array(levels) * desk.truth(1)
    off = alone - line
    assert np.ptp(off) > 0.8
    dithered = np.array(
        [np.mean([found(level_v + code_v * ((k + 0.5) / 8 - 0.5)) for k in range(8)]) for level_v in levels[::5]]
    )
    assert np.ptp(dithered - line[::5]) < 2.0 / 16 + 0.02
    assert abs(first.mean()) < 10.0


def test_a_capacitor_keeps_it_out(make_desk):
    desk = make_desk(bench="simulated-corrie-ur-2.toml")
    before = steady(desk, 0.0).mean()
    assert steady(desk, 5.0).mean() == pytest.approx(before, abs=0.1)
    bridged = 'channels = 1\ncoupling = "dc"\n'
    direct = make_desk(
        bench="simulated-corrie-ur-2.toml", change=lambda text: text.replace("channels = 1\n", bridged, 1)
    )
    assert steady(direct, 5.0).mean() > before + 50.0
