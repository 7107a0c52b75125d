"""Corrie UR-2: both gains in dB, sections by relays behind the word, a pad before the input; numbers by hand."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from harness.config import BenchFile, parse
from harness.errors import ConfigError, UsageError
from harness.simulated import JumpClock, build_world
from harness.simulated.corrie_ur2 import CorrieTruth
from harness.simulated.parameters import PadTruth, SimulationTruth

NAME = "simulated-corrie-ur-2.toml"
BENCH = Path(__file__).parents[2] / "configs" / "benches" / NAME
UNIT = CorrieTruth()


@pytest.fixture
def desk(make_desk):
    return make_desk(bench=NAME)


def select(desk, coarse_db, fine_db):
    desk.tell("device", f"GAIN1:COAR {coarse_db};FINE {fine_db}")
    assert desk.ask("device", "*OPC?") == "1"


def test_the_tables_of_the_shipped_bench_are_the_defaults_and_a_pad():
    tables = parse(BenchFile, BENCH.read_text("utf-8"), file="bench").simulation.parameters
    pad = PadTruth(loss_db=20.0, error_percent=0.3, input_ohm=1000.0)
    assert SimulationTruth.model_validate({**tables, "unit": {}}) == SimulationTruth(pad=pad)
    assert CorrieTruth.model_validate(tables["unit"]) == UNIT


# By hand: section (2 bits), second amplifier, spare 0, then 200 + 20 codes a dB.
@pytest.mark.parametrize(
    ("coarse_db", "fine_db", "word", "gain_db"),
    [
        (0, 0.0, 0x00C8, 0.0),
        (0, 20.0, 0x0258, 20.0),
        (20, 0.5, 0x40D2, 20.5),
        (40, 10.0, 0x8190, 50.0),
        (60, 0.0, 0x60C8, 60.0),
        (80, 20.0, 0xA258, 100.0),
    ],
)
def test_word_relay_and_gain_by_hand(desk, coarse_db, fine_db, word, gain_db):
    select(desk, coarse_db, fine_db)
    assert desk.world.device.front_ends[1].register == word
    # 0.1024 V/V of 2000 codes a volt at 0 dB; 0.1 dB ripple, 0.3 common, 0.15 each of section and second, 0.1 % slope.
    wanted = 204.8 * 10 ** (gain_db / 20)
    assert desk.truth(1) == pytest.approx(wanted, rel=0.022)
    desk.codes(1)
    assert float(desk.ask("device", "FETC:SCAL?")) == pytest.approx(1 / wanted, rel=1e-9)


def test_full_grammar_of_its_commands(desk):
    desk.tell("device", ":gain1:coarse 40 dB;fine 2.5;:GAIN:FINE 3500 mDB")
    assert desk.errors("device") == []
    assert desk.ask("device", "GAIN:COAR?;FINE?") == "40;3.5"
    assert desk.ask("device", "GAIN:COAR? MAX;FINE? MAX;COAR? MIN;FINE? DEF") == "80;20;0;0"
    desk.tell("device", "GAIN:COAR MIN;FINE MIN")
    assert desk.ask("device", "GAIN:COAR?;FINE?") == "0;0"
    for message, code in (("GAIN:COAR 30", -222), ("GAIN:FINE 20.5", -222), ("GAIN2:COAR 0", -114),
                          ("GAIN:COAR 1 V", -131), ("GAIN:FINE", -109)):  # fmt: skip
        desk.tell("device", message)
        assert desk.errors("device") == [code], message


def test_one_word_for_each_command_and_no_bias_converter(desk):
    desk.ask("adapter", "ARM")
    select(desk, 60, 7.5)
    events = np.frombuffer(desk.block("adapter", "FETCH?")[16:-4], "<u8")
    levels = [0, *(int(event) & 255 for event in events)]
    clocks = sum(levels[k] & 2 > levels[k - 1] & 2 for k in range(1, len(levels)))
    latches = sum(levels[k] & 4 > levels[k - 1] & 4 for k in range(1, len(levels)))
    assert (clocks, latches) == (32, 2)
    assert max(levels) < 8


def test_a_relay_takes_longer_than_a_word(desk):
    select(desk, 0, 0)

    def complete_s(message):
        started_s = desk.clock.now_s()
        desk.tell("device", message)
        desk.ask("device", "*OPC?")
        return desk.clock.now_s() - started_s

    assert complete_s("GAIN:COAR 20") == pytest.approx(0.0022, abs=1e-4)
    # The same relay, the second amplifier beside it.
    assert complete_s("GAIN:COAR 60") == pytest.approx(0.0012, abs=1e-4)
    assert complete_s("GAIN:FINE 10") == pytest.approx(0.0012, abs=1e-4)


def test_0_15_mv_fills_three_quarters_at_100_db_and_noise_shows(desk):
    select(desk, 80, 20)
    # The pad takes a factor 10, the source's 50 ohm 1/21.
    desk.tell("source", f"OUTP:LOAD INF;:FREQ 50050;:VOLT {0.15e-3 * 10 * 1.05!r};:OUTP ON")
    desk.ask("source", "*OPC?")
    desk.tell("device", "ACQ:POIN 20000;SRAT 1 MHZ")
    record = desk.codes(1).astype(float)
    angle = 2 * np.pi * 1001 * np.arange(20000) / 20000
    basis = np.column_stack([np.sin(angle), np.cos(angle), np.ones(20000)])
    fit, *_ = np.linalg.lstsq(basis, record, rcond=None)
    # 0.4 % of the source, 0.3 % of the pad, 2.2 % of the device, 0.1 % of its bandwidth.
    assert 2 * math.hypot(*fit[:2]) == pytest.approx(0.75 * 4096, rel=0.03)
    # 0.3 uV rms times 100 dB times 204.8 codes a volt.
    assert np.std(record - basis @ fit) == pytest.approx(0.3e-6 * 1e5 * 204.8, rel=0.05)


def test_the_pad_divides_what_the_source_puts_out(make_desk):
    def change(text):
        return text.replace("error_percent = 0.3", "error_percent = 0.0")

    cable = make_desk(bench=NAME, change=change).world.cable
    assert cable.ratio == pytest.approx(0.1 * 1000 / 1050, rel=1e-12)
    errors = [make_desk(bench=NAME, seed=seed).world.cable.ratio / cable.ratio - 1 for seed in range(20)]
    assert 0.0 < max(map(abs, errors)) <= 0.003
    terminated = make_desk("source-load-mis-set=1000", bench=NAME, change=change).world.cable
    assert terminated.ratio == pytest.approx(0.1 * 500 / 550, rel=1e-12)


def test_bandwidth_falls_with_the_amplifiers_in_the_path():
    parts = UNIT.draw(1, 0)
    bare, second = 200, 1 << 13 | 200
    assert parts.corner_hz(frozenset(), bare) == 6.0e6
    assert parts.corner_hz(frozenset({"K2"}), bare) == 1.5e6
    # One pole: 1/f^2 adds up.
    assert parts.corner_hz(frozenset({"K2"}), second) == pytest.approx(1.5e6 / math.sqrt(2))
    # At 50 kHz the fundamental loses 0.11 % at most.
    assert 1 - 1 / math.hypot(1, 50e3 / parts.corner_hz(frozenset({"K2"}), second)) < 0.0012


@pytest.mark.parametrize("seed", range(40))
def test_good_units_depart_from_linear_in_db_by_a_ripple_periodic_in_code(seed):
    parts = UNIT.draw(1, seed)
    codes = np.arange(200, 601)
    error_db = 20 * np.log10([parts.word_gain(int(code)) for code in codes]) - 0.05 * (codes - 200)
    line = np.polyfit(codes, error_db, 1)
    ripple_db = error_db - np.polyval(line, codes)
    assert 0.04 < np.max(np.abs(ripple_db)) < 0.11
    # The slope is within 0.1 % of 0.05 dB a code; a ripple of 3.3 periods tilts the line a little.
    assert abs(line[0]) < 0.05 * 0.001 + 2e-4
    assert np.ptp(error_db[:281] - error_db[120:]) < 1e-9


@pytest.mark.parametrize("seed", range(40))
def test_good_units_stay_inside_their_limits(seed):
    parts = UNIT.draw(1, seed)
    error = {}
    for coarse in range(5):
        for fine in range(41):
            chosen = UNIT.plan(coarse, fine)
            true = parts.relay_gain(parts.relays(chosen.relays, chosen.word)) * parts.word_gain(chosen.word) * 2000
            error[coarse, fine] = 100 * math.log(true / chosen.gain_codes_per_v)
    # 3.4 %, 1.4 % and 1.3 % in all; source and pad may add 0.7 %, 0.2 % and 0.2 %, bandwidth 0.1 %.
    assert max(map(abs, error.values())) <= 2.5
    assert max(abs(error[c, f] - error[c, f - 1]) for c in range(5) for f in range(1, 41)) <= 0.7
    assert max(abs(error[c, f] - error[c - 1, f]) for c in range(1, 5) for f in range(41)) <= 0.5


@pytest.mark.parametrize(
    ("fault", "coarse_db", "fine_db", "factor"),
    [
        ("relay-not-picking", 20, 0, 1 / 10),
        ("relay-not-picking", 40, 0, 1.0),
        ("relay-not-picking=2", 80, 5, 1 / 100),
        ("relay-not-picking=2", 60, 5, 1.0),
        ("data-bit-stuck-low=11", 0, 0, 1.0),
        ("data-bit-stuck-low", 0, 0.5, 10 ** (-16 * 0.05 / 20)),  # code 210 holds bit 4
        ("data-bit-stuck-low", 0, 0, 1.0),  # code 200 does not
        ("pregain-ratio-wrong", 60, 3, 1.05),
        ("pregain-ratio-wrong", 40, 3, 1.0),
        ("load-resistor-missing", 0, 0, 2.0),
        ("latch-missing", 80, 10, 1e-4),  # the power-on word stays: 10 dB in the first section
    ],
)
def test_faults(make_desk, desk, fault, coarse_db, fine_db, factor):
    faulty = make_desk(fault, bench=NAME)
    for one in (desk, faulty):
        select(one, coarse_db, fine_db)
    # Half widths of section and second, and the ripple between two codes, blur the factor.
    assert faulty.truth(1) / desk.truth(1) == pytest.approx(factor, rel=0.03 if factor != 1.0 else 1e-12)


def test_arithmetic_fine_gain_keeps_the_first_word_and_the_display(make_desk):
    desk = make_desk("fine-gain-arithmetic", bench=NAME)
    select(desk, 20, 12)
    assert desk.world.device.front_ends[1].register == 0x40C8
    assert desk.truth(1) == pytest.approx(204.8 * 10 ** (32 / 20), rel=0.022)


def test_a_fault_names_what_is_allowed(make_desk):
    with pytest.raises(UsageError, match="got size '12'; allowed is a whole number from 0 to 11"):
        make_desk("data-bit-stuck-low=12", bench=NAME)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('relay = ["", "K1", "K2"]', 'relay = ["", "K1"]', "gain.section_relay and section_bandwidth_hz: one"),
        ("gain_db = 80.0, section = 2", "gain_db = 80.0, section = 3", "range.section below 3"),
        ("power_on_code = 400", "power_on_code = 4096", "gain.power_on_code below 4096"),
        ("loss_db = 20.0", "loss_db = -1.0", "simulation.pad.loss_db: got -1.0"),
    ],
)
def test_tables_that_do_not_fit_together(old, new, words):
    text = BENCH.read_text("utf-8")
    assert old in text
    bench = parse(BenchFile, text.replace(old, new), file="bench")
    with pytest.raises(ConfigError) as caught:
        build_world(bench, seed=1, faults=(), clock=JumpClock(), file="bench")
    assert words in str(caught.value)
