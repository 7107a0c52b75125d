"""Published and exact numbers for the three-parameter sine fit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.amplitude import fit_sine3, fit_sine4, fit_sines3


def test_noise_free_vector():
    # Source: the same vector is a check vector of the open-source toolbox qwtb (published); exact by construction.
    # y = 2 sin(2π·100 t + 1) + 0.2, 10 kHz, 10 000 samples. The model is a sine: the phase of the cosine is 1 - π/2.
    time_s = np.arange(10_000) / 10_000.0
    found = fit_sine3(2.0 * np.sin(2 * np.pi * 100.0 * time_s + 1.0) + 0.2, sample_rate_hz=10e3, frequency_hz=100.0)
    assert found.amplitude_code == pytest.approx(2.0, rel=1e-10)
    assert found.offset_code == pytest.approx(0.2, rel=1e-10)
    assert found.phase_rad == pytest.approx(1.0, rel=1e-10)
    assert found.noise_code < 1e-10


def test_noise_free_vector_of_unknown_frequency():
    # Source: as above; started at 100.2 Hz.
    time_s = np.arange(10_000) / 10_000.0
    record = 2.0 * np.sin(2 * np.pi * 100.0 * time_s + 1.0) + 0.2
    found = fit_sine4(record, sample_rate_hz=10e3, frequency_hz=100.2)
    assert found.frequency_hz == pytest.approx(100.0, rel=1e-10)
    assert found.amplitude_code == pytest.approx(2.0, rel=1e-10)
    assert found.offset_code == pytest.approx(0.2, rel=1e-10)
    assert found.phase_rad == pytest.approx(1.0, rel=1e-10)


def test_unknown_frequency_meets_the_bound():
    # Source: Kay (1993), example 3.14, from memory: var(frequency in cycles a sample) = 12/((2π)²·η·N·(N² - 1)),
    # var(phase) = 2(2N - 1)/(η·N·(N + 1)), var(amplitude) = 2σ²/N, η = A²/(2σ²); N 1000, 7 cycles, A 1, σ 0.05.
    # Ratio within 1 ± 3·√(2/trials).
    trials, length, sigma = 1500, 1000, 0.05
    rng = np.random.default_rng(1500)
    clean = np.sin(2 * np.pi * 7 * np.arange(length) / length + 0.3)
    fits = [
        fit_sine4(clean + rng.normal(0.0, sigma, length), sample_rate_hz=1.0, frequency_hz=7.2 / length)
        for _ in range(trials)
    ]
    eta, tolerance = 1 / (2 * sigma**2), 3 * math.sqrt(2 / trials)
    assert 2 * sigma**2 / length == pytest.approx(5.0e-6)
    bounds = {
        "amplitude_code": 5.0e-6,
        "phase_rad": 2 * (2 * length - 1) / (eta * length * (length + 1)),
        "frequency_hz": 12 / ((2 * math.pi) ** 2 * eta * length * (length**2 - 1)),
    }
    for name, bound in bounds.items():
        assert np.var([getattr(fit, name) for fit in fits]) / bound == pytest.approx(1.0, abs=tolerance)


def test_variance_of_rounded_records_stays_within_three_percent_of_the_bound():
    # Bound 2σ²/N with σ² = noise² + 1/12 (quantisation); 20 000 records, seeded; three percent are 3·√(2/20 000).
    # Source: Kay (1993), example 3.14, from memory; quantisation noise: Bennett (1948), from memory.
    length, noise, batches, each = 512, 0.5, 20, 1000
    rng = np.random.default_rng(20_260)
    angle = 2 * np.pi * 37 * np.arange(length) / length
    amplitudes = []
    for _ in range(batches):
        clean = 700.3 * np.sin(angle + rng.uniform(-np.pi, np.pi, (each, 1))) + rng.uniform(-0.5, 0.5, (each, 1))
        codes = np.rint(clean + rng.normal(0.0, noise, clean.shape))
        amplitudes.append(fit_sines3(codes, sample_rate_hz=float(length), frequency_hz=37.0).amplitude_code)
    bound = 2 * (noise**2 + 1 / 12) / length
    assert np.concatenate(amplitudes).var() / bound == pytest.approx(1.0, abs=0.03)


def test_variance_meets_the_cramer_rao_bound():
    # Source: Kay, Fundamentals of Statistical Signal Processing: Estimation Theory (1993), example 3.14, from memory;
    # real sine: var(A) = 2σ²/N, var(phase) = 2σ²/(N·A²) for known frequency, var(offset) = σ²/N.
    # (Rife and Boorstyn 1974, from memory, treat a complex tone: half of it.)
    trials, length, sigma = 20_000, 100, 0.05
    rng = np.random.default_rng(20_000)
    angle = 2 * np.pi * 7 * np.arange(length) / length
    records = np.sin(angle + 0.3) + rng.normal(0.0, sigma, (trials, length))
    found = fit_sines3(records, sample_rate_hz=float(length), frequency_hz=7.0)
    tolerance = 3 * math.sqrt(2 / trials)  # three standard deviations of a variance from so many trials
    assert found.amplitude_code.var() / (2 * sigma**2 / length) == pytest.approx(1.0, abs=tolerance)
    assert found.phase_rad.var() / (2 * sigma**2 / length) == pytest.approx(1.0, abs=tolerance)
    assert found.offset_code.var() / (sigma**2 / length) == pytest.approx(1.0, abs=tolerance)
    # The residual has n - 3 degrees of freedom: its mean square is σ² without bias.
    assert np.mean(found.noise_code**2) / sigma**2 == pytest.approx(1.0, abs=3 * math.sqrt(2 / (trials * (length - 3))))
    # Bias of the amplitude is of second order, σ²/(N·A).
    assert found.amplitude_code.mean() == pytest.approx(1.0, abs=3 * sigma * math.sqrt(2 / (length * trials)) + 5e-5)


def test_quantisation_acts_as_noise():
    # Formula sd(A) = q/√(6N); N = 1000: 0.0129099 q. Valid with noise of 0.3 q or more or many codes, and an
    # incommensurate frequency; noise adds σ²·2/N. Source: formula of uniform quantisation noise, calculated here.
    length, trials, sigma = 1000, 4000, 0.4
    assert 1 / math.sqrt(6 * length) == pytest.approx(0.0129099, abs=1e-7)
    rng = np.random.default_rng(6)
    angle = 2 * np.pi * 0.0371937 * np.arange(length)
    phases, offsets = rng.uniform(-np.pi, np.pi, (trials, 1)), rng.uniform(-0.5, 0.5, (trials, 1))
    clean = 300.3 * np.sin(angle + phases) + offsets
    found = fit_sines3(
        np.round(clean + rng.normal(0.0, sigma, clean.shape)), sample_rate_hz=1.0, frequency_hz=0.0371937
    )
    expected = math.sqrt(2 / length * (sigma**2 + 1 / 12))
    assert found.amplitude_code.std() == pytest.approx(expected, rel=3 / math.sqrt(2 * trials))
    assert np.sqrt(np.mean(found.noise_code**2)) == pytest.approx(math.sqrt(sigma**2 + 1 / 12), rel=3e-3)
