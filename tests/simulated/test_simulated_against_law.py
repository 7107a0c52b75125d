"""The simulated truth and the gain law come from different files and different code; here they meet."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from harness.bus import BusDevice, BusWiring, decode
from harness.config import DeviceFile, parse
from harness.law import build
from harness.simulated.corrie_ur2 import CorrieTruth
from harness.simulated.parameters import SimulationTruth
from harness.simulated.skerry_hr4 import SkerryTruth
from harness.simulated.tarn_vg1 import TarnTruth
from harness.values import Capture, Setting

DEVICES = Path(__file__).parents[2] / "configs" / "devices"


def described(name):
    return parse(DeviceFile, (DEVICES / f"{name}.toml").read_text("utf-8"), file="device.toml")


@pytest.fixture(scope="module")
def device():
    return described("skerry-hr-4")


@pytest.fixture(scope="module")
def law(device):
    return build(device, file="device.toml")


def test_nominal_gain_word_and_scale_of_every_setting(law):
    unit = SkerryTruth()
    for coarse in range(11):
        for fine in range(21):
            ours, theirs = unit.plan(coarse, fine), law.predict(Setting(1, coarse, fine))
            assert ours.word == theirs.state.word.value, (coarse, fine)
            assert ours.word_bits == theirs.state.word.bits
            assert ours.relays == law.relays_of(dict(theirs.state.controls))
            assert 1 / ours.scale_v_per_code == pytest.approx(theirs.gain_codes_per_v, rel=1e-12)
            assert ours.codes_ratio == theirs.state.arithmetic_ratio


def test_nominal_gain_word_and_scale_of_every_setting_of_the_corrie():
    unit, law = CorrieTruth(), build(described("corrie-ur-2"), file="device.toml")
    assert len(law.settings()) == 5 * 41
    for setting in law.settings():
        ours, theirs = unit.plan(setting.coarse, setting.fine), law.predict(setting)
        assert ours.word == theirs.state.word.value, setting
        assert ours.word_bits == theirs.state.word.bits
        # The device file gives its intercept to 0.001 dB.
        assert 1 / ours.scale_v_per_code == pytest.approx(theirs.gain_codes_per_v, rel=1.2e-4)


def test_gain_of_every_word_of_the_tarn():
    unit, law = TarnTruth(), build(described("tarn-vg-1"), file="device.toml")
    exact = {"common_percent": 0.0, "pregain_percent": 0.0, "bit_percent": 0.0, "carry_percent": 0.0, "zero_code": 0.0}
    parts = unit.model_copy(update={"spread": unit.spread.model_copy(update=exact)}).draw(1, 0)
    for prediction in law.predictions([1]):
        word = prediction.state.word
        assert (word.latch, word.bits) == ("latch-1", unit.word_bits)
        assert parts.word_gain(word.value) * 2000 == pytest.approx(prediction.gain_codes_per_v, rel=1e-12)


def test_the_tables_of_the_shipped_bench_are_the_defaults(make_bench):
    tables = make_bench().simulation.parameters
    assert SimulationTruth.model_validate({**tables, "unit": {}}) == SimulationTruth()
    assert SkerryTruth.model_validate(tables["unit"]) == SkerryTruth()


def test_words_on_the_bus_are_those_of_the_law(desk, device, law):
    wiring = BusWiring(
        lines=device.bus.lines, data=device.bus.data, clock=device.bus.clock, clock_rising=True, latch_rising=True,
        minimum_pulse_ns=device.bus.minimum_pulse_ns,
        devices=tuple(BusDevice(latch=member.latch, bits=member.bits) for member in device.bus.on_bus),
    )  # fmt: skip
    idle, glitches = 0, 0
    desk.select(2, 2, 70)
    for coarse in range(11):
        for fine in range(0, 21, 4):
            assert desk.ask("adapter", "ARM") == "OK"
            desk.select(1, desk.world.device._truth.range[coarse].full_scale_vpp, 100 - 3 * fine)
            decoding = decode(_capture(desk, device), wiring)
            words = {latch: decoding.last(latch) for latch in wiring.lines[2:]}
            assert words["latch-1"].value == law.predict(Setting(1, coarse, fine)).state.word.value
            assert words["latch-2"].value == law.predict(Setting(2, 3, 10)).state.word.value
            assert words["latch-3"].value == law.predict(Setting(3, 0, 0)).state.word.value
            assert abs(words["latch-bias"].value - 2048) <= 40
            assert {word.note for word in decoding.words} == {""}
            assert decoding.complete
            # One burst for each of the two commands.
            assert decoding.clock_edges == 2 * 48
            assert decoding.unlatched_bits == 0
            idle += decoding.idle_data_edges
            glitches += decoding.glitches
    assert idle > 100
    assert glitches > 20


def _capture(desk, device):
    payload = desk.block("adapter", "FETCH?")
    assert payload[:4] == b"GLC2"
    dropped, initial, count = np.frombuffer(payload[4:16], "<u4")
    events = np.frombuffer(payload[16:-4], "<u8")
    assert len(events) == count
    return Capture(
        times_ns=(events >> np.uint64(8)).astype(np.int64), levels=(events & np.uint64(255)).astype(np.uint8),
        initial=int(initial), lines=device.bus.lines, dropped=int(dropped),
    )  # fmt: skip
