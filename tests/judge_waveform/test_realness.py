"""Monte Carlo with seeds: words, waveform and both agree with the truth or say unproven."""

from __future__ import annotations

import pytest

from harness.judge.waveform import Words, combine, waveform_tests
from harness.values import Realness
from tests.judge_waveform.synthetic import Unit, converter_noise, pair
from tests.realness_table import CASES, classify


@pytest.mark.parametrize("case", list(CASES))
def test_never_wrong(case):
    truth = CASES[case][0]
    for seed in range(200, 208):  # the eight ratios once each, on other units than the table's
        for source, said in classify(case, seed).items():
            assert said in (truth, "unproven"), f"{source}, seed {seed}"


@pytest.mark.parametrize(
    ("ratio", "expected"),
    [
        (1.0005, "unproven"),
        (1.0015, "unproven"),
        (1.05, "arithmetic"),
        (1.25, "arithmetic"),
        (2.5, "arithmetic"),
    ],
)
def test_fine_gain_by_multiplication_without_words(ratio, expected):
    unit = Unit(dnl_lsb=0.3)
    found = set()
    for seed in range(5):
        a, b = pair(unit, seed, ratio=ratio, kind="integer")
        tests = waveform_tests(a, b, ratio=ratio, converter_noise_code=converter_noise(unit))
        found.add(combine(tests, Words.NOT_CAPTURED, ratio=ratio).realness.value)
    assert found == {expected}


def test_front_end_noise_leaves_hardware_unproven_without_words():
    unit = Unit(dnl_lsb=0.3, front_vrms=2e-3)
    for seed in range(8):
        a, b = pair(unit, seed, ratio=2.0, kind="hardware")
        tests = waveform_tests(a, b, ratio=2.0, converter_noise_code=converter_noise(unit))
        assert combine(tests, Words.NOT_CAPTURED, ratio=2.0).realness is Realness.UNPROVEN
        assert combine(tests, Words.NEW_WORD, ratio=2.0).realness is Realness.HARDWARE


def test_averaging_left_on_is_no_ground_for_a_verdict():
    unit = Unit(dnl_lsb=0.3)
    for averages in (2, 8, 64):
        a, b = pair(unit, 1, ratio=2.0, kind="integer", averages=averages, mode="average")
        tests = waveform_tests(a, b, ratio=2.0, converter_noise_code=converter_noise(unit))
        decision = combine(tests, Words.NOT_CAPTURED, ratio=2.0)
        assert decision.realness is Realness.UNPROVEN
        assert decision.power_m is None
        assert "acquisition mode is 'average'" in decision.why


def test_fault_is_a_word_without_hardware():
    unit = Unit(dnl_lsb=0.3)
    a, b = pair(unit, 3, ratio=1.25, kind="integer")
    tests = waveform_tests(a, b, ratio=1.25, converter_noise_code=converter_noise(unit))
    assert combine(tests, Words.NEW_WORD, ratio=1.25).realness is Realness.FAULT


def test_mixed_step_is_factorised():
    unit = Unit(dnl_lsb=0.3)
    a, b = pair(unit, 4, ratio=2.5, kind="mixed")
    tests = waveform_tests(a, b, ratio=2.5, converter_noise_code=converter_noise(unit))
    decision = combine(tests, Words.NEW_WORD, ratio=2.5)
    assert decision.realness is Realness.MIXED
    assert decision.arithmetic_ratio == pytest.approx(2.5**0.5 * 1.01, rel=2e-4)
    assert decision.hardware_ratio * decision.arithmetic_ratio == pytest.approx(2.5)


def test_reference_driven_like_the_setting_serves_the_histogram():
    unit = Unit(dnl_lsb=0.3)
    a, b = pair(unit, 5, ratio=1.25, kind="float")
    a_as_b, _ = pair(unit, 6, ratio=1.25, kind="float", drive_vpk=b.drive_vpk)
    tests = {test.name: test for test in waveform_tests(a, b, ratio=1.25, a_as_b=a_as_b)}
    assert tests["W7"].says.value == "arithmetic"
