"""The converter's noise from noise against gain: the truth of a synthetic unit, and when it stays open."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from harness.judge.waveform import converter_noise, input_noise, see
from tests.judge_waveform.synthetic import Unit, record

UNIT = Unit(front_vrms=50e-6, converter_code=0.6)
GAINS = (1e3, 2e3, 4e3, 8e3, 16e3, 32e3)


def ladder(rng, gains=GAINS, factors=(), unit=UNIT):
    factors = factors or (1.0,) * len(gains)
    return [see(record(unit, rng, gain=g / f, arithmetic=f)) for g, f in zip(gains, factors, strict=True)]


def test_the_truth_is_found_with_its_quantisation():
    rng = np.random.default_rng(1)
    truth = math.sqrt(0.6**2 + 1.0 / 12.0)
    assert converter_noise(ladder(rng)) == pytest.approx(truth, rel=0.03)


def test_one_setting_by_arithmetic_is_left_out_and_many_leave_it_open():
    rng = np.random.default_rng(2)
    truth = math.sqrt(0.6**2 + 1.0 / 12.0)
    assert converter_noise(ladder(rng, factors=(1.0, 1.0, 1.0, 4.0, 1.0, 1.0))) == pytest.approx(truth, rel=0.05)
    # No hardware moves: noise goes with gain, as if the front end were all of it.
    assert converter_noise(ladder(rng, factors=tuple(g / GAINS[0] for g in GAINS))) is None
    assert converter_noise(ladder(rng, factors=(1.0, 2.0, 1.0, 2.0, 1.0, 4.0))) is None


def test_too_little_says_nothing():
    rng = np.random.default_rng(3)
    assert converter_noise(ladder(rng, GAINS[:4])) is None
    assert converter_noise(ladder(rng, (1e3, 1.1e3, 1.2e3, 1.3e3, 1.4e3))) is None
    # All of it is the front end's.
    assert converter_noise(ladder(rng, unit=replace(UNIT, front_vrms=5e-3, converter_code=0.0))) is None


def test_a_known_converter_noise_tells_a_ruling_front_end_from_arithmetic():
    rng = np.random.default_rng(4)
    known = converter_noise(ladder(rng))
    quiet, loud = (see(record(UNIT, rng, gain=gain, samples=4000)) for gain in (1e3, 32e3))
    doubled = {gain: see(record(UNIT, rng, gain=gain, arithmetic=2.0, samples=4000)) for gain in (1e3, 32e3)}
    # The converter rules: equal noise is arithmetic. The front end rules: hardware would leave it equal as well.
    told = input_noise(quiet, doubled[1e3], ratio=2.0, converter_noise_code=known)
    assert (told.precondition_met, told.says.value) == (True, "arithmetic")
    open_ = input_noise(loud, doubled[32e3], ratio=2.0, converter_noise_code=known)
    assert not open_.precondition_met
    assert "the front end dominates" in open_.why
    # Known, it says what could have been told: hardware ×2 would show as √((1 + ρ²/4)/(1 + ρ²)), ρ² = 0.443/0.0025.
    assert told.power_m < input_noise(quiet, doubled[1e3], ratio=2.0).power_m
