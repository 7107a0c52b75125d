"""The healthy bench: numbers by hand, spread of good units, noise, settling, converter."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from harness.simulated.converter import convert, multiply, saturate
from harness.simulated.parameters import ConverterTruth
from harness.simulated.skerry_hr4 import SkerryTruth

UNIT = SkerryTruth()
RANGES = [entry.full_scale_vpp for entry in UNIT.range]
EXACT = dict.fromkeys(
    (
        "common_percent",
        "range_percent",
        "flatness_percent",
        "attenuator_percent",
        "pregain_percent",
        "bit_percent",
        "carry_percent",
        "offset_in_v",
        "offset_out_code",
        "drift_percent",
        "dnl_lsb",
        "compression_percent",
        "input_v",
        "converter_code",
    ),
    "0.0",
)


def exact(text):
    """A bench without tolerances and noise."""
    lines = []
    for line in text.splitlines():
        key = line.split("=")[0].strip()
        lines.append(f"{key} = {EXACT[key]}" if key in EXACT else line)
    return "\n".join(lines)


# By hand: wanted codes/V = 4096 / full scale; one code is 0.01, 0.1 or 1 (attenuator) x 128/255 x 0.5 x 2000 codes/V.
@pytest.mark.parametrize(
    ("coarse_vpp", "percent", "attenuator", "pregain", "code"),
    [
        (20.0, 100, "1:100", 0, 41),  # 204.8 / 5.0196 = 40.8
        (20.0, 40, "1:100", 0, 102),  # 40.8 / 0.4 = 102.0
        (10.0, 100, "1:100", 0, 82),  # 81.6
        (10.0, 64, "1:100", 0, 128),  # 81.6 / 0.64 = 127.5 goes up
        (5.0, 100, "1:100", 0, 163),  # 163.2
        (5.0, 64, "1:100", 0, 255),  # 163.2 / 0.64 = 255.0, the last code
        (5.0, 61, "1:100", 1, 67),  # 267.5 is too much; 163.2 / 0.61 / 4 = 66.89
        (5.0, 40, "1:100", 1, 102),
        (2.0, 100, "1:10", 0, 41),
        (0.5, 40, "1:10", 1, 102),
        (0.2, 70, "1:1", 0, 58),  # 40.8 / 0.7 = 58.29
        (0.05, 40, "1:1", 1, 102),
        (0.02, 100, "1:1", 1, 102),  # 408 / 4
        (0.02, 40, "1:1", 1, 255),  # 4 x 128 x 0.5 x 2000 = 512000 codes/V, exactly 4096 / 8 mV
        (0.01, 100, "1:1", 1, 102),  # hardware of 20 mV
        (0.01, 40, "1:1", 1, 255),
    ],
)
def test_words_by_hand(coarse_vpp, percent, attenuator, pregain, code):
    chosen = UNIT.plan(RANGES.index(coarse_vpp), UNIT.fine_percents.index(percent))
    assert chosen.relays == {"1:1": set(), "1:10": {"K1"}, "1:100": {"K2"}}[attenuator]
    assert chosen.word == 256 * pregain + code
    assert chosen.codes_ratio == (2.0 if coarse_vpp == 0.01 else 1.0)


def test_all_codes_are_between_41_and_255_and_gain_rises_within_each_range():
    for coarse in range(len(RANGES)):
        chosen = [UNIT.plan(coarse, fine) for fine in range(21)]
        assert {41 <= entry.word & 255 <= 255 for entry in chosen} == {True}
        gains = [entry.gain_codes_per_v for entry in chosen]
        assert gains == sorted(set(gains))
        for fine, entry in enumerate(chosen):
            wanted = 4096 / (RANGES[coarse] * UNIT.fine_percents[fine] / 100)
            assert 1 / entry.scale_v_per_code == pytest.approx(wanted, rel=0.5 / 41)


@pytest.mark.parametrize(
    ("coarse_vpp", "percent", "codes_per_v"),
    # att x pre x code x 128/255 x 0.5 x 2000
    [
        (20.0, 100, 0.01 * 41 * 128 / 255 * 1000),
        (20.0, 40, 512.0),
        (2.0, 100, 4.1 * 128 / 255 * 1000),
        (0.02, 40, 512_000.0),
        (0.02, 100, 204_800.0),
        (0.01, 100, 409_600.0),
        (0.2, 100, 41 * 128 / 255 * 1000),
    ],
)
def test_gain_without_tolerances_by_hand(make_desk, coarse_vpp, percent, codes_per_v):
    desk = make_desk(change=exact)
    vpp = float(f"{3000 / codes_per_v:.3e}")
    desk.drive(vpp)
    desk.select(2, coarse_vpp, percent)
    assert desk.truth(2) == pytest.approx(codes_per_v, rel=1e-12)
    # 250 kilohm on 50 ohm; one pole far above 2125 Hz; whole codes average out over 4000 samples to about 0.02 codes.
    expected = codes_per_v * 250_000 / 250_050
    assert desk.gain(2, vpp=vpp) == pytest.approx(expected, rel=6e-5)
    assert float(desk.ask("device", "FETC:SCAL?")) == pytest.approx(1 / codes_per_v, rel=1e-9)


@pytest.mark.parametrize("seed", range(40))
def test_good_units_stay_inside_their_limits(seed):
    for channel in range(1, 5):
        parts = UNIT.draw(channel, seed)
        error = {}
        for coarse in range(10):
            for fine in range(21):
                chosen = UNIT.plan(coarse, fine)
                true = parts.relay_gain(chosen.relays) * parts.word_gain(chosen.word) * 2000
                error[coarse, fine] = 100 * math.log(true / chosen.gain_codes_per_v)
        # 1.3 %, 0.45 % and 1.0 % in all; the source may add 0.4 %, 0.2 % and 0.2 % to these.
        assert max(map(abs, error.values())) <= 0.9
        assert max(abs(error[c, f] - error[c, f - 1]) for c in range(10) for f in range(1, 21)) <= 0.25
        assert max(abs(error[c, f] - error[c - 1, f]) for c in range(1, 10) for f in range(21)) <= 0.8


@pytest.mark.parametrize("seed", range(3))
def test_measured_gain_of_a_good_bench_is_inside_its_limit(make_desk, seed):
    desk = make_desk(seed=seed)
    for coarse_vpp, percent in ((20.0, 100), (5.0, 58), (1.0, 70), (0.05, 100), (0.02, 40), (0.01, 55)):
        vpp = float(f"{0.75 * coarse_vpp * percent / 100:.3e}")
        desk.drive(vpp)
        desk.select(3, coarse_vpp, percent)
        gain = desk.gain(3, vpp=vpp)
        assert abs(100 * math.log(gain * float(desk.ask("device", "FETC:SCAL?")))) <= 1.3


def test_noise_at_both_ends(desk):
    desk.select(1, 0.02, 40)
    assert np.std(desk.codes()) == pytest.approx(math.hypot(1.54, 0.4, 0.29), rel=0.05)
    desk.select(1, 20, 100)
    assert np.std(desk.codes()) == pytest.approx(math.hypot(0.06, 0.4, 0.29), rel=0.1)


def test_output_off_is_no_signal_at_all(desk):
    desk.drive(0.006)
    desk.select(1, 0.02, 40)
    assert np.ptp(desk.codes()) > 2000
    desk.tell("source", "OUTP OFF")
    desk.ask("source", "*OPC?")
    codes = desk.codes()
    assert np.ptp(codes) < 20
    assert abs(np.mean(codes)) <= 512_000 * 1.01 * 20e-6 + 4


def test_clip_is_at_the_rail_codes_exactly(desk):
    desk.drive(20.0)
    desk.select(1, 5, 100)
    codes = desk.codes()
    assert (codes.min(), codes.max()) == (-2048, 2047)
    assert np.mean((codes == -2048) | (codes == 2047)) > 0.5
    desk.drive(20.0)
    desk.select(1, 0.01, 40)
    codes = desk.codes()
    # Doubled behind the rails, and not held at them.
    assert (codes.min(), codes.max()) == (-4096, 4094)


def test_the_arithmetic_range_has_even_codes_only_below_the_rail(desk):
    desk.drive(0.006)
    desk.select(1, 0.01, 100)
    doubled = desk.codes()
    assert set(np.unique(doubled % 2)) == {0}
    assert np.ptp(doubled) > 2000
    desk.select(1, 0.02, 100)
    assert set(np.unique(desk.codes() % 2)) == {0, 1}


@pytest.mark.parametrize("delay_s", [0.0, 0.001, 0.0022, 0.003])
def test_a_reading_before_a_relay_has_settled_is_wrong(desk, delay_s):
    desk.drive(1.4)
    desk.select(1, 20, 100)
    desk.tell("device", "INP1:RANG 2")
    desk.clock.sleep(delay_s)
    desk.tell("device", "INIT")
    codes = np.frombuffer(desk.block("device", "FETC:CODE?"), "<i2")
    early = np.hypot(np.max(codes[:400]), 0)
    desk.clock.sleep(0.02)
    late = desk.codes()
    assert abs(early / np.max(late[:400]) - 1) > 0.02


def test_a_reading_right_after_a_fine_change_is_wrong_and_after_complete_is_right(desk):
    desk.drive(7.0)
    desk.select(1, 20, 100)
    before = desk.truth()
    desk.tell("device", "INP1:FINE 40;:INIT")
    codes = np.frombuffer(desk.block("device", "FETC:CODE?"), "<i2").astype(float)
    angle = 2 * np.pi * 17 * np.arange(4000) / 4000
    steady = codes[1000:]
    basis = np.column_stack([np.sin(angle), np.cos(angle), np.ones(4000)])
    fit = np.linalg.lstsq(basis[1000:], steady, rcond=None)[0]
    missing = (basis @ fit - codes)[:3]
    assert np.max(np.abs(missing)) > 20
    after = desk.truth()
    assert after / before == pytest.approx(102 / 41, rel=0.002)
    assert np.max(np.abs((basis @ fit - codes)[500:])) < 4


def test_source_level_settles(desk):
    desk.drive(7.0)
    desk.select(1, 20, 40)
    desk.tell("source", "VOLT 1")
    desk.tell("device", "INIT")
    unsettled = np.frombuffer(desk.block("device", "FETC:CODE?"), "<i2")
    settled = desk.codes()
    assert np.max(np.abs(unsettled[:8])) > 1.2 * np.max(np.abs(settled))


def test_same_seed_same_codes_other_seed_other_codes(make_desk):
    def record(seed):
        desk = make_desk(seed=seed)
        desk.drive(7.0)
        desk.select(2, 10, 55)
        return [desk.codes(2).tobytes() for _ in range(2)]

    first, again, other = record(5), record(5), record(6)
    assert first == again
    assert first[0] != first[1]
    assert first[0] != other[0]


def test_a_stream_is_not_shifted_by_another_part():
    more = UNIT.model_copy(update={"channels": 2})
    first, second = UNIT.draw(1, 7), more.draw(1, 7)
    assert first.pregain_ratio == second.pregain_ratio
    wider = UNIT.model_copy(update={"spread": UNIT.spread.model_copy(update={"attenuator_percent": 0.0})})
    assert wider.draw(1, 7).bit_error_ratio == first.bit_error_ratio
    assert wider.draw(1, 7).attenuator_ratio["1:10"] == 0.1 != first.attenuator_ratio["1:10"]


def test_word_gain_adds_bits_and_takes_the_pregain():
    parts = UNIT.draw(1, 0)
    bare = dataclasses.replace(parts, pregain_ratio=4.0, bit_error_ratio=(0.0,) * 8, carry_ratio=1.0, common_ratio=1.0)
    assert bare.word_gain(0x1FF) == pytest.approx(256.0)
    assert bare.word_gain(0x0FF) == pytest.approx(64.0)
    assert bare.word_gain(41) == pytest.approx(41 * 64 / 255)
    step = dataclasses.replace(bare, carry_ratio=1.001)
    assert step.word_gain(127) == bare.word_gain(127)
    assert step.word_gain(128) == pytest.approx(1.001 * bare.word_gain(128))
    # One pole: 1/f^2 adds up.
    assert bare.corner_hz(frozenset(), 0x1FF) == pytest.approx(1 / math.hypot(1 / 2e6, 256 / 1e8))
    assert bare.corner_hz(frozenset(), 0x1FF) > 300e3


def test_bandwidth_shows_at_the_corner(make_desk):
    desk = make_desk(change=exact)
    corner = desk.world.device.front_ends[1].parts.corner_hz(frozenset(), 0x1FF)
    desk.tell("device", "ACQ:SRAT MAX")
    cycles = round(corner / 1e6 * 4000)
    desk.tell("source", f"OUTP:LOAD INF;:VOLT 0.006;:FREQ {cycles * 250};:OUTP ON")
    desk.ask("source", "*OPC?")
    desk.select(1, 0.02, 40)
    assert desk.gain(vpp=0.006, cycles=cycles) == pytest.approx(512_000 / math.sqrt(2), rel=3e-3)


def test_converter_transitions_move_by_their_thresholds():
    thresholds = np.zeros(4096)
    thresholds[2048] = 0.15
    codes = convert(np.array([0.49, 0.51, 0.64, 0.66, -0.51, -0.49, 2046.6, 5000.0, -5000.0]), thresholds, 12)
    assert codes.tolist() == [0, 0, 0, 1, -1, 0, 2047, 2047, -2048]


def test_arithmetic_rounds_and_saturates():
    codes = np.array([-2048, -3, 0, 1, 2, 3, 1500])
    assert multiply(codes, 1.0, 12) is codes
    assert multiply(codes, 2.0, 12).tolist() == [-2048, -6, 0, 2, 4, 6, 2047]
    assert multiply(codes, 1.25, 12).tolist() == [-2048, -4, 0, 1, 2, 4, 1875]
    # A record that is not cropped to the screen goes on to the ends of 16 bits.
    assert multiply(codes, 2.0, 12, crops=False).tolist() == [-4096, -6, 0, 2, 4, 6, 3000]
    assert multiply(codes, 30.0, 12, crops=False).tolist() == [-32768, -90, 0, 30, 60, 90, 32767]


def test_compression_is_the_stated_loss_of_the_fundamental_at_full_scale():
    truth = ConverterTruth(compression_percent=1.0)
    full_v = 2048 / 2000
    angle = 2 * np.pi * np.arange(4096) / 4096
    out = saturate(full_v * np.sin(angle), truth)
    assert 2 * np.mean(out * np.sin(angle)) / full_v == pytest.approx(0.99, abs=1e-6)
    assert np.max(np.abs(saturate(100.0 * np.sin(angle), truth))) <= truth.headroom_ratio * full_v


def test_an_acquisition_takes_samples_over_rate(desk):
    desk.select(1, 20, 100)
    desk.tell("device", "ACQ:POIN 5000;SRAT 250 kHz")
    before_s = desk.clock.now_s()
    desk.tell("device", "INIT")
    # Fetching waits for the record by itself.
    assert len(desk.block("device", "FETC:CODE?")) == 10_000
    assert desk.clock.now_s() - before_s == pytest.approx(0.02 + 0.0002, abs=1e-9)
