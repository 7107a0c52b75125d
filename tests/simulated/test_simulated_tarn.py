"""Tarn VG-1: no commands for its gain, words through the adapter, numbers by hand."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from harness.config import BenchFile, parse
from harness.errors import ConfigError, UsageError
from harness.simulated import JumpClock, build_world
from harness.simulated.converter import saturate
from harness.simulated.parameters import ConverterTruth, SimulationTruth
from harness.simulated.tarn_vg1 import TarnTruth

BENCH = Path(__file__).parents[2] / "configs" / "benches" / "simulated-tarn-vg-1.toml"
UNIT = TarnTruth()


@pytest.fixture
def desk(make_desk):
    return make_desk(bench="simulated-tarn-vg-1.toml")


def load(desk, channel, pregain, code):
    assert desk.ask("adapter", f"LOAD latch-{channel} 8 {pregain << 7 | code:X}") == "OK"
    desk.clock.sleep(0.002)


def test_the_tables_of_the_shipped_bench_are_the_defaults():
    tables = parse(BenchFile, BENCH.read_text("utf-8"), file="bench").simulation.parameters
    assert SimulationTruth.model_validate({**tables, "unit": {}}) == SimulationTruth()
    assert TarnTruth.model_validate(tables["unit"]) == UNIT


def test_it_has_no_command_for_its_gain(desk):
    assert desk.ask("device", "*IDN?") == "Tarn,VG-1,TA000001,1.0"
    desk.tell("device", "INP1:RANG 1")
    desk.tell("device", "INP1:FINE 50")
    assert desk.errors("device") == [-113, -113]
    assert desk.ask("device", "INP2:IMP?") == "1000000"


# 7.0795 V/V at code 127 behind the load; the pre-gain is 7.0795 once more; 2000 codes a volt.
@pytest.mark.parametrize(
    ("pregain", "code", "gain_ratio"),
    [(0, 127, 7.0795), (0, 5, 7.0795 * 5 / 127), (1, 127, 7.0795**2), (1, 64, 7.0795**2 * 64 / 127)],
)
def test_gain_of_a_word_within_the_tolerances_of_good_units(desk, pregain, code, gain_ratio):
    load(desk, 2, pregain, code)
    # 0.4 common, 0.15 pre-gain, 0.05 carry, 0.02 bits, 0.2 % of code 5 for what comes through at code 0.
    assert desk.truth(2) == pytest.approx(2000 * gain_ratio, rel=0.0085)
    vpp = float(f"{3000 / 2000 / gain_ratio:.3e}")
    desk.drive(vpp)
    # The record adds the source (0.4 %) and a compression of 0.05 % times the square of 3/4 of full scale.
    assert desk.gain(2, vpp=vpp) == pytest.approx(2000 * gain_ratio, rel=0.013)


def test_power_on_code_1_and_a_reset_keeps_the_words(desk):
    assert [end.register for end in desk.world.device.front_ends.values()] == [1, 1]
    load(desk, 1, 1, 100)
    desk.tell("device", "*RST")
    assert [end.register for end in desk.world.device.front_ends.values()] == [128 + 100, 1]
    assert desk.ask("device", "ACQ:CHAN?;POIN?;SRAT?") == "1;4000;500000"


def test_the_last_bits_shifted_are_kept_and_short_words_push_the_old_ones_up(desk):
    front_end = desk.world.device.front_ends[1]
    assert desk.ask("adapter", "LOAD latch-1 12 ABC") == "OK"
    assert front_end.register == 0xBC
    assert desk.ask("adapter", "LOAD latch-1 4 5") == "OK"
    assert front_end.register == 0xC5
    assert desk.ask("adapter", "LOAD latch-2 8 33") == "OK"
    assert front_end.register == 0xC5


def test_displayed_scale_is_that_of_the_converter(desk):
    desk.codes(1)
    assert float(desk.ask("device", "FETC:SCAL?")) == 1 / 2000


def test_the_bus_carries_nothing_but_the_word(desk):
    assert desk.ask("adapter", "ARM") == "OK"
    load(desk, 2, 0, 0x55)
    payload = desk.block("adapter", "FETCH?")
    events = np.frombuffer(payload[16:-4], "<u8")
    levels = [0, *(int(event) & 255 for event in events)]
    times = [0, *(int(event) >> 8 for event in events)]
    rises = [k for k in range(1, len(levels)) if levels[k] & 2 > levels[k - 1] & 2]
    assert [levels[k] & 1 for k in rises] == [0, 1, 0, 1, 0, 1, 0, 1]
    latches = [levels[k] & ~levels[k - 1] & 12 for k in range(1, len(levels))]
    assert [latch for latch in latches if latch] == [8]
    # What is no edge of the word is a glitch of at most 25 ns.
    changes = [k for k in range(1, len(levels)) if (levels[k] ^ levels[k - 1]) & 1]
    real = [k for k in changes if not any(0 < abs(times[k] - times[o]) <= 25 for o in changes)]
    assert len(real) == 7 + 1 - 1


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("relay-not-picking", "fault relay-not-picking: the VG-1 cannot have it: the board has no relays"),
        ("fine-gain-arithmetic:1", "the board has no firmware; its words are loaded through the adapter"),
        ("data-bit-stuck-low=7", "got size '7'; allowed is a whole number from 0 to 6"),
        ("latch-missing:3", "got channel '3'; allowed is 1 to 2"),
    ],
)
def test_faults_that_it_cannot_have(make_desk, fault, words):
    with pytest.raises(UsageError, match=words):
        make_desk(fault, bench="simulated-tarn-vg-1.toml")


@pytest.mark.parametrize(
    ("fault", "pregain", "code", "factor"),
    [
        ("data-bit-stuck-low:1", 0, 127, 111 / 127),
        ("data-bit-stuck-low:1", 0, 100, 1.0),
        ("pregain-ratio-wrong:1", 1, 100, 1.05),
        ("pregain-ratio-wrong:1", 0, 100, 1.0),
        ("load-resistor-missing:1", 0, 100, 2.0),
        ("latch-missing:1", 0, 100, 1 / 100),
    ],
)
def test_faults_that_it_can_have(make_desk, desk, fault, pregain, code, factor):
    faulty = make_desk(fault, bench="simulated-tarn-vg-1.toml")
    for one in (desk, faulty):
        load(one, 1, pregain, code)
        load(one, 2, pregain, code)
    assert faulty.truth(1) / desk.truth(1) == pytest.approx(factor, rel=0.01)
    assert faulty.truth(2) == desk.truth(2)


def test_a_missing_latch_does_not_reach_the_adapter_either(make_desk):
    desk = make_desk("latch-missing:1", bench="simulated-tarn-vg-1.toml")
    desk.ask("adapter", "ARM")
    load(desk, 1, 0, 100)
    events = np.frombuffer(desk.block("adapter", "FETCH?")[16:-4], "<u8")
    assert len(events) > 16
    assert not any(int(event) & 4 for event in events)


def test_tanh_compression_is_the_stated_loss_of_the_fundamental_at_full_scale():
    # s tanh(x/s): for a loss of 0.1 % the next term, x^5, adds less than 2e-6.
    truth = ConverterTruth(compression="tanh", compression_percent=0.1)
    full_v = 2048 / 2000
    angle = 2 * np.pi * np.arange(4096) / 4096
    out = saturate(full_v * np.sin(angle), truth)
    assert 2 * np.mean(out * np.sin(angle)) / full_v == pytest.approx(0.999, abs=2e-6)
    assert np.max(np.abs(saturate(100.0 * np.sin(angle), truth))) <= truth.headroom_ratio * full_v
    straight = truth.model_copy(update={"compression_percent": 0.0})
    assert np.array_equal(saturate(np.array([0.5, -1.0]), straight), [0.5, -1.0])


@pytest.mark.parametrize("seed", range(40))
def test_good_units_stay_inside_their_limits(seed):
    for channel in (1, 2):
        parts = UNIT.draw(channel, seed)
        words = [(pregain, code) for pregain in (0, 1) for code in range(5, 128)]
        error = {
            (pregain, code): 100 * math.log(
                parts.word_gain(pregain << 7 | code) / (7.0795 * code / 127 * (7.0795 if pregain else 1.0))
            )
            for pregain, code in words
        }  # fmt: skip
        # 1.56 % in all; the source may add 0.4 %, compression 0.03 %.
        assert max(map(abs, error.values())) <= 0.9
        assert max(abs(error[p, c] - error[p, c - 1]) for p, c in words if c > 5) <= 0.3


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("power_on_code = 1 ", "power_on_code = 128 ", "gain.power_on_code below 128"),
        ('"latch-2"]', '"latch-2", "x"]', "bus.lines: data, clock, a latch for each channel"),
        ('compression = "tanh"', 'compression = "sharp"', "simulation.unit.converter.compression: got 'sharp'"),
    ],
)
def test_tables_that_do_not_fit_together(old, new, words):
    text = BENCH.read_text("utf-8")
    assert old in text
    bench = parse(BenchFile, text.replace(old, new), file="bench")
    with pytest.raises(ConfigError) as caught:
        build_world(bench, seed=1, faults=(), clock=JumpClock(), file="bench")
    assert words in str(caught.value)
