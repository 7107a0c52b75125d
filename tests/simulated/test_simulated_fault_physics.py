"""What each fault of the signal path does to a record, by hand: a ratio of gains, a line, an offset, a clip."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.simulated.conftest import amplitude


def measured(make_desk, fault, *, setting=(2, 70), vpp=1.05, channel=1, hz=2125.0, bench="simulated.toml", after_s=0.0):
    """Codes of one record, with a fault or without one; the seed is the same, so everything else is."""
    desk = make_desk(*([fault] if fault else []), bench=bench)
    desk.drive(vpp)
    if hz != 2125.0:
        desk.tell("source", f"FREQ {hz}")
        desk.ask("source", "*OPC?")
    desk.select(channel, *setting)
    desk.clock.sleep(after_s)
    return desk.codes(channel).astype(float)


def ratio(make_desk, fault, **where):
    cycles = round(where.get("hz", 2125.0) / 125.0)
    pair = [amplitude(measured(make_desk, name, **where), cycles) for name in (fault, "")]
    return pair[0] / pair[1]


# At 2 V, 70 %: attenuator 1:10 (K1), code 58 without pre-gain; at 0.02 V, 40 %: no relay, code 255 with pre-gain.
# Bit weights differ by up to 0.02 %, the pre-gain by 0.15 % from their nominal values.
TOP = {"setting": (0.02, 40), "vpp": 0.006}
RATIOS = [
    ("relay-stuck-on=2", {"setting": (0.2, 70), "vpp": 0.105}, 0.01),
    ("relay-drivers-swapped", {}, 0.1),
    ("attenuator-resistor-wrong=2", {}, 1.02),
    ("attenuator-resistor-wrong=2,2", {}, 1.0),
    ("attenuator-compensation-wrong=5", {"hz": 100e3}, 1.05),
    ("attenuator-compensation-wrong=5", {}, 1.0),
    ("pregain-bit-stuck=1", {"vpp": 0.25}, 4.0),
    ("pregain-bit-stuck=0", TOP, 0.25),
    ("bit-weight-wrong=10,4", {}, 1.0 + 0.1 * 16 / 58),
    ("bit-weight-wrong=10,2", {}, 1.0),
    ("major-carry-step=0.6", TOP, 1.006),
    ("major-carry-step=0.6", {}, 1.0),
    ("load-resistor-wrong=4", {}, 1.04),
    ("external-feedback-resistor=20", {}, 1.2),
    ("reference-wrong=4", {}, 1.04),
    ("reference-wrong=0,2", {"after_s": 20.0 * math.log(2.0)}, 1.01),
    ("temperature-compensation-missing=-3300", {"after_s": 900.0}, None),
    ("bandwidth-falls-with-gain=0.5", {**TOP, "hz": 100e3}, 1.0 / math.hypot(1.0, 0.5)),
    ("bandwidth-falls-with-gain=0.5", {}, 1.0),
    ("slow-settling=0.6", {"after_s": 2.0}, 1.0),
    ("slow-settling=0.6", {"after_s": 0.09}, 1.0 - 0.006 / 2.0),
    ("intermittent-joint=1", {}, 1e-4),
    ("coupling-capacitor-wrong=2125", {}, math.sqrt(0.5)),
    ("input-resistor-wrong=1e6", {}, 1.0),
    ("converter-reference-wrong=4", {}, 1.04),
    ("data-bit-stuck-high=0", {}, 59 / 58),
    ("data-bits-swapped=0,1", {}, 57 / 58),
    ("data-bits-shorted=0,1", {}, 59 / 58),
    ("data-bits-shorted=1,0", {}, 56 / 58),
    ("data-line-stuck=1", {"vpp": 0.05}, 4.0 * 255 / 58),
    ("word-polarity-inverted=3", {}, 57 / 58),
    ("terminator-wrong=50", {}, 0.5),
    ("pad-wrong=20", {}, 0.1),
    ("unit-mix-up=0.5", {}, 0.5),
    ("probe-factor-wrong=0.1", {}, 0.1),
    ("reference-meter-drifted=0.5", {}, 1.005),
]


@pytest.mark.parametrize(("fault", "where", "expected"), RATIOS, ids=[f"{r[0]} {n}" for n, r in enumerate(RATIOS)])
def test_the_gain_changes_by_the_size(make_desk, fault, where, expected):
    got = ratio(make_desk, fault, **where)
    if expected is None:
        # 2 K of the unit's own heat, 63 % of it after one time constant; the room is a quarter of its swing up.
        expected = 1.0 - 3300e-6 * (2.0 * (1.0 - math.exp(-1.0)) + math.sin(math.pi / 2.0))
    assert got == pytest.approx(expected, rel=1.5e-3, abs=2e-4)


def test_the_words_of_two_channels_change_places(make_desk):
    for fault in ("latches-crossed", "cables-swapped"):
        desk = make_desk(fault)
        good = make_desk()
        for bench in (desk, good):
            bench.drive(0.2)
            bench.select(1, 2, 70)
            bench.select(2, 2, 40)
        assert amplitude(desk.codes(1)) == pytest.approx(amplitude(good.codes(2)), rel=0.02)
        assert amplitude(desk.codes(2)) == pytest.approx(amplitude(good.codes(1)), rel=0.02)


def test_a_broadcast_latch_leaves_the_later_word_in_both(make_desk):
    desk = make_desk("latch-broadcast")
    desk.select(1, 2, 70)
    desk.select(2, 2, 40)
    assert [desk.world.device.front_ends[channel].register & 255 for channel in (1, 2)] == [102, 102]


def test_crosstalk_adds_a_share_of_the_other_channels_gains(make_desk):
    desk = make_desk("channel-crosstalk:1=-40")
    desk.drive(1.05)
    desk.select(1, 2, 70)
    front_ends = desk.world.device.front_ends
    others = sum(front_ends[channel].gain_ratio for channel in (2, 3, 4))
    got = ratio(make_desk, "channel-crosstalk:1=-40")
    assert got == pytest.approx(1.0 + 0.01 * others / front_ends[1].gain_ratio, rel=6e-4)


@pytest.mark.parametrize(("fault", "where"), [("input-offset=15", TOP), ("output-offset=15", {"vpp": 0.5})])
def test_an_offset_is_a_share_of_the_span(make_desk, fault, where):
    where = {**where, "vpp": where["vpp"] / 2}
    moved = np.mean(measured(make_desk, fault, **where)) - np.mean(measured(make_desk, "", **where))
    assert moved == pytest.approx(0.15 * 4096, rel=5e-3)


def line_db(codes, cycles):
    return 20.0 * math.log10(amplitude(codes, cycles) / 2048.0)


def test_a_line_has_its_level_and_an_oscillation_is_there_at_high_gain_only(make_desk):
    assert line_db(measured(make_desk, "mains-or-supply-line=-40,1000"), 8) == pytest.approx(-40.0, abs=0.05)
    assert line_db(measured(make_desk, "oscillation=-20,131000", **TOP), 1048) == pytest.approx(-20.0, abs=0.05)
    assert line_db(measured(make_desk, "oscillation=-20,131000"), 1048) < -80.0


def test_noise_is_up_by_its_factor_at_both_ends(make_desk):
    angle = 2.0 * np.pi * 17 * np.arange(4000) / 4000
    basis = np.column_stack([np.sin(angle), np.cos(angle), np.ones(4000)])

    def noise_code(fault, where):
        codes = measured(make_desk, fault, **where)
        return float(np.std(codes - basis @ np.linalg.lstsq(basis, codes, rcond=None)[0]))

    # Rounding adds 1/sqrt(12) code, transitions that lie wrong by up to 0.15 code some more.
    for where in (TOP, {}):
        quiet, loud = noise_code("", where), noise_code("excess-noise=8", where)
        assert loud == pytest.approx(math.sqrt(64.0 * (quiet**2 - 1.0 / 12.0) + 1.0 / 12.0), rel=0.06)


def test_compression_is_the_stated_loss_between_two_fills(make_desk):
    full_vpp = 2.0 * 0.7
    found = {}
    for fault in ("", "output-compression=-1"):
        gains = [amplitude(measured(make_desk, fault, vpp=full_vpp * fill)) / fill for fill in (0.4, 0.8)]
        found[fault] = gains[1] / gains[0]
    assert found["output-compression=-1"] / found[""] == pytest.approx(0.99, abs=4e-4)


def test_low_rails_and_leaks_cut_one_half_wave(make_desk):
    low = measured(make_desk, "supply-rail-low=40")
    assert np.max(low) == pytest.approx(0.6 * 2048 * 0.9998, abs=8)
    assert np.min(low) == pytest.approx(np.min(measured(make_desk, "")), abs=4)
    leaky = measured(make_desk, "leaky-clamp=2", vpp=1.35)
    good = measured(make_desk, "", vpp=1.35)
    assert np.max(leaky) / np.max(good) == pytest.approx(1.0 - 0.02 * np.max(good) / 2048, abs=2e-3)
    assert np.min(leaky) == pytest.approx(np.min(good), abs=4)


def test_codes_that_are_missing_or_tied(make_desk):
    missing = set(measured(make_desk, "converter-missing-codes=8", vpp=1.3).astype(int))
    assert not missing & {-700 + 211 * n for n in range(8)}
    assert set(measured(make_desk, "converter-bits-lost=3").astype(int) % 8) == {0}


def test_scales_are_wrong_where_the_entry_says(make_desk):
    def scales(fault):
        desk = make_desk(*([fault] if fault else []))
        found = {}
        for setting in ((20, 100), (0.5, 70), (0.5, 40)):
            desk.select(1, *setting)
            desk.codes(1)
            found[setting] = float(desk.ask("device", "FETC:SCAL?"))
        return found

    good = scales("")
    # The middle range of eleven is 0.5 V, the middle position of 21 is 70 %.
    for fault, wrong in (("calibration-of-another-unit=5", {(0.5, 70), (0.5, 40)}), ("scale-row-wrong=5", {(0.5, 70)})):
        bad = scales(fault)
        assert {s: bad[s] / good[s] for s in good} == pytest.approx({s: 1.05 if s in wrong else 1.0 for s in good})
    assert scales("calibration-of-another-unit=5,0")[20, 100] / good[20, 100] == pytest.approx(1.05)
    late = scales("scale-not-updated")
    assert late[0.5, 40] == pytest.approx(good[0.5, 70])
    part = scales("scale-not-updated=0.3")
    assert part[0.5, 40] / good[0.5, 40] == pytest.approx(0.997)


def test_contacts_scatter_only_when_they_move(make_desk):
    desk = make_desk("relay-contact-film=5")
    gains = []
    for volts in (2, 2, 20, 2, 20, 2):
        desk.select(1, volts, 70)
        if volts == 2:
            gains.append(desk.truth(1))
    assert gains[0] == gains[1]
    assert len(set(gains)) == 3
    assert np.std(gains[1:]) / np.mean(gains) < 0.2


def test_a_late_relay_makes_the_first_reading_wrong_and_not_the_second(make_desk):
    for fault in ("relay-settles-late=0.5", "settle-too-short=2"):
        desk = make_desk(fault)
        desk.drive(1.05)
        desk.select(1, 20, 100)
        desk.select(1, 2, 70)
        first = amplitude(desk.codes(1))
        desk.clock.sleep(0.2)
        assert first / amplitude(desk.codes(1)) < 0.97


def test_averaging_is_told_and_fills_gaps(make_desk):
    desk, single = make_desk("averaging-left-on=8"), make_desk()
    assert (desk.ask("device", "ACQ:MODE?"), single.ask("device", "ACQ:MODE?")) == ("AVER", "SAMP")
    odd = []
    for bench in (desk, single):
        bench.drive(0.003)
        bench.select(1, 0.01, 100)
        odd.append(float(np.mean(bench.codes().astype(int) % 2)))
    assert odd[0] > 0.3
    assert odd[1] == 0.0


def test_a_stale_record_keeps_counter_and_codes(make_desk):
    desk = make_desk("stale-record@2")
    first = desk.codes(1)
    counter = desk.ask("device", "FETC:SEQ?")
    desk.select(1, 2, 70)
    assert np.array_equal(desk.codes(1), first)
    assert desk.ask("device", "FETC:SEQ?") == counter


def test_a_reset_register_jumps_once_and_the_next_word_cures_it(make_desk):
    desk = make_desk("register-reset-mid-run:1@2")
    desk.select(1, 2, 70)
    desk.select(2, 2, 70)
    registers = []
    for _ in range(3):
        desk.codes(1)
        registers.append([desk.world.device.front_ends[channel].register for channel in (1, 2)])
    desk.select(1, 2, 70)
    registers.append([desk.world.device.front_ends[channel].register for channel in (1, 2)])
    assert registers == [[58, 58], [128, 58], [128, 58], [58, 58]]


def test_one_wrong_row_of_the_table(make_desk):
    desk = make_desk("word-table-row-wrong:1=16")
    found = {}
    for setting in ((0.5, 67), (0.5, 70), (0.5, 73), (1.0, 70)):
        desk.select(1, *setting)
        found[setting] = desk.world.device.front_ends[1].register - good_word(make_desk, setting)
    assert found == {(0.5, 67): 0, (0.5, 70): 16, (0.5, 73): 0, (1.0, 70): 0}


def good_word(make_desk, setting):
    desk = make_desk()
    desk.select(1, *setting)
    return desk.world.device.front_ends[1].register


def test_intermittent_faults_come_and_go_and_start_when_told(make_desk):
    desk = make_desk("load-resistor-missing:1~0.5@4")
    desk.drive(0.4)
    desk.select(1, 2, 70)
    amplitudes = np.array([amplitude(desk.codes(1)) for _ in range(24)]) / amplitude(measured(make_desk, "", vpp=0.4))
    doubled = np.abs(amplitudes - 2.0) < 0.02
    assert not doubled[:3].any()
    assert 4 <= doubled[3:].sum() <= 17
    assert (doubled | (np.abs(amplitudes - 1.0) < 0.02)).all()
