"""Sine of unknown frequency: closed forms, the bound, and each refusal in words."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.amplitude import fit_sine3, fit_sine4
from harness.errors import FitFailed, NotFinite, TooFewCycles

CALM = settings(derandomize=True, deadline=None, max_examples=60)
RATE_HZ, LENGTH = 500e3, 4000
BIN_HZ = RATE_HZ / LENGTH


def sine(frequency_hz, *, amplitude=1500.0, phase_rad=0.4, offset=7.0):
    return amplitude * np.sin(2 * np.pi * frequency_hz * np.arange(LENGTH) / RATE_HZ + phase_rad) + offset


@CALM
@given(
    cycles=st.floats(5.0, 900.0),
    off_bins=st.floats(-0.45, 0.45),
    phase_rad=st.floats(-3.1, 3.1),
    offset=st.floats(-500, 500),
)
def test_clean_sine_is_recovered_from_half_a_bin_away(cycles, off_bins, phase_rad, offset):
    frequency_hz = cycles * BIN_HZ
    record = sine(frequency_hz, phase_rad=phase_rad, offset=offset)
    found = fit_sine4(record, sample_rate_hz=RATE_HZ, frequency_hz=frequency_hz + off_bins * BIN_HZ)
    assert found.frequency_hz == pytest.approx(frequency_hz, rel=1e-11)
    assert found.amplitude_code == pytest.approx(1500.0, rel=1e-9)
    assert found.offset_code == pytest.approx(offset, abs=1e-6)
    assert abs(math.remainder(found.phase_rad - phase_rad, math.tau)) < 1e-7
    assert found.samples == LENGTH


def test_true_start_gives_the_three_parameter_amplitude():
    record = sine(2125.0) + np.random.default_rng(4).normal(0.0, 2.0, LENGTH)
    three = fit_sine3(record, sample_rate_hz=RATE_HZ, frequency_hz=2125.0)
    four = fit_sine4(record, sample_rate_hz=RATE_HZ, frequency_hz=2125.0)
    # The frequency is orthogonal to the amplitude: they differ by far less than their scatter, 2·√(2/4000) = 0.045.
    assert four.amplitude_code == pytest.approx(three.amplitude_code, abs=2e-3)
    assert four.noise_code == pytest.approx(2.0, abs=0.1)


def test_agrees_with_general_least_squares():
    from scipy.optimize import least_squares

    record = sine(2130.0) + np.random.default_rng(5).normal(0.0, 2.0, LENGTH)
    angle = 2 * np.pi * np.arange(LENGTH) / RATE_HZ

    def residual(p):
        return p[0] * np.sin(angle * p[3] * 1000 + p[1]) + p[2] - record

    other = least_squares(residual, (1490.0, 0.4, 5.0, 2.130), x_scale=(1, 1e-3, 1, 1e-6), xtol=1e-15, ftol=1e-15)
    found = fit_sine4(record, sample_rate_hz=RATE_HZ, frequency_hz=2125.0)
    assert found.amplitude_code == pytest.approx(other.x[0], rel=1e-7)
    assert found.frequency_hz == pytest.approx(1000 * other.x[3], rel=1e-8)
    assert found.noise_code == pytest.approx(math.sqrt(2 * other.cost / (LENGTH - 4)), rel=1e-9)


@pytest.mark.parametrize("off_bins", [-7.3, -4.9, -1.9, 1.6, 3.1, 5.0, 8.4])
def test_far_start_is_refused(off_bins):
    with pytest.raises(
        FitFailed, match=r"walked from .* allowed is one bin, 125 Hz: start nearer|settled at .* 2000 Hz"
    ):
        fit_sine4(sine(2000.0), sample_rate_hz=RATE_HZ, frequency_hz=2000.0 + off_bins * BIN_HZ)


def test_side_lobe_is_named_with_the_line_it_left():
    with pytest.raises(
        FitFailed, match=r"settled at 2\d+.* Hz with amplitude .*near 2000 Hz; allowed is none as strong"
    ):
        fit_sine4(sine(2000.0), sample_rate_hz=RATE_HZ, frequency_hz=2625.0)


@pytest.mark.parametrize(
    ("seed", "words"), [(4, "there is a sine at all"), (3, "allowed is none as strong"), (15, "may hold no sine")]
)
def test_record_without_a_sine_is_refused(seed, words):
    with pytest.raises(FitFailed, match=words):
        fit_sine4(np.random.default_rng(seed).normal(0.0, 1.0, 16), sample_rate_hz=16.0, frequency_hz=5.0)


def test_fit_that_never_settles_is_refused(monkeypatch):
    turns = iter([1.0, -1.0] * 40)
    monkeypatch.setattr("harness.amplitude.sine4._step_hz", lambda *_: next(turns))
    with pytest.raises(FitFailed, match=r"still moving by -1 Hz after 30 rounds at 2125 Hz; allowed is 2\.1e-06 Hz"):
        fit_sine4(sine(2125.0), sample_rate_hz=RATE_HZ, frequency_hz=2125.0)


def test_refusals_of_the_three_parameter_fit_pass_through():
    with pytest.raises(NotFinite, match="frequency_hz is nan"):
        fit_sine4(sine(2125.0), sample_rate_hz=RATE_HZ, frequency_hz=math.nan)
    with pytest.raises(TooFewCycles, match=r"holds 0\.4 cycles"):
        fit_sine4(sine(2125.0), sample_rate_hz=RATE_HZ, frequency_hz=50.0)
    with pytest.raises(FitFailed, match="7 samples"):
        fit_sine4(sine(2125.0)[:7], sample_rate_hz=RATE_HZ, frequency_hz=1e5)
