"""Two DC levels, and the RMS as a cross-check."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.amplitude import fit_sine3, rms_amplitude_code, two_level
from harness.errors import FitFailed, NotFinite


def level(mean, seed, count=4000, noise=0.5):
    return np.rint(np.random.default_rng(seed).normal(mean, noise, count)).astype(np.int16)


def test_offset_cancels_in_the_difference():
    found = two_level(level(1536.3 + 11.0, 1), level(-1536.3 + 11.0, 2))
    assert found.difference_code == pytest.approx(2 * 1536.3, abs=4 * found.u_difference_code + 0.005)
    assert found.offset_code == pytest.approx(11.0, abs=4 * found.u_difference_code)
    # σ² + 1/12, √2/√N of it on the difference.
    assert found.noise_code == pytest.approx(math.sqrt(0.25 + 1 / 12), rel=0.03)
    assert found.u_difference_code == pytest.approx(found.noise_code * math.sqrt(2 / 4000), rel=1e-3)


def test_exact_on_constants():
    found = two_level(np.full(8, 100, dtype=np.int16), np.full(12, -90, dtype=np.int16))
    assert (found.difference_code, found.offset_code, found.u_difference_code, found.noise_code) == (190.0, 5.0, 0, 0)


def test_stated_uncertainty_covers_the_scatter():
    u, differences = [], []
    for seed in range(300):
        found = two_level(level(100.3, 2 * seed, 100), level(-99.1, 2 * seed + 1, 100))
        u.append(found.u_difference_code)
        differences.append(found.difference_code)
    assert np.std(differences) == pytest.approx(np.mean(u), rel=3 / math.sqrt(600))


def test_rms_counts_noise_as_signal():
    angle = 2 * np.pi * 17 * np.arange(4000) / 4000
    assert rms_amplitude_code(5.0 * np.sin(angle) + 2.0) == pytest.approx(5.0, rel=1e-12)
    noisy = 5.0 * np.sin(angle) + np.random.default_rng(3).normal(0.0, 2.0, 4000)
    assert rms_amplitude_code(noisy) == pytest.approx(math.sqrt(25 + 2 * 4), rel=0.02)
    assert fit_sine3(noisy, sample_rate_hz=4000.0, frequency_hz=17.0).amplitude_code == pytest.approx(5.0, abs=0.2)


def test_short_or_stacked_records_are_refused():
    with pytest.raises(
        FitFailed, match=r"positive record has shape \(7,\); allowed is one record of 8 samples or more"
    ):
        two_level(np.zeros(7), np.zeros(8))
    with pytest.raises(FitFailed, match=r"negative record has shape \(2, 8\)"):
        two_level(np.zeros(8), np.zeros((2, 8)))
    with pytest.raises(FitFailed, match=r"whole record has shape \(3,\)"):
        rms_amplitude_code(np.zeros(3))


def test_sample_that_is_no_number_is_refused():
    with pytest.raises(NotFinite, match="sample 3 is nan"):
        two_level(np.zeros(8), np.array([0.0, 0, 0, math.nan, 0, 0, 0, 0]))
    with pytest.raises(NotFinite, match=r"sample 0 is 9\.9e\+37"):
        rms_amplitude_code(np.full(8, 9.9e37))
