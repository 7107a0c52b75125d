"""Figures of ideal converters, seen through the sine fit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.amplitude import (
    dc_bias_code,
    effective_bits,
    fit_sine3,
    samples_for_every_code,
    sinad_db,
    sine_histogram,
    used_bits,
)
from harness.values import db_from_ratio


@pytest.mark.parametrize(
    ("bits", "exact_db"),
    # Source: textbook result (Bennett 1948), 20·log10(2^N·√1.5); numbers calculated for this project.
    [(8, 49.9257), (10, 61.9669), (12, 74.0081), (14, 86.0493)],
)
def test_ideal_converter_has_the_ideal_signal_to_noise_ratio(bits, exact_db):
    assert db_from_ratio(2**bits * math.sqrt(1.5)) == pytest.approx(exact_db, abs=5e-5)
    frequency = (math.sqrt(5) - 1) / 2 / 7
    full_scale = 2.0 ** (bits - 1) - 0.5
    codes = np.floor(full_scale * np.sin(2 * np.pi * frequency * np.arange(100_000) + 0.2)).astype(np.int16)
    found = fit_sine3(codes, sample_rate_hz=1.0, frequency_hz=frequency)
    # 0.1 dB: full scale is half a step short, and near the peaks the error of rounding is not uniform.
    assert db_from_ratio(found.amplitude_code / math.sqrt(2) / found.noise_code) == pytest.approx(exact_db, abs=0.1)
    assert found.offset_code == pytest.approx(-0.5, abs=0.01)


def test_effective_bits_from_the_residual():
    # Source: IEEE Std 1241, effective number of bits (from memory): log2(FSR/(rms·√12)), FSR the whole span.
    # A = 2, noise 1e-4 rms, span 6: SINAD 83.010300 dB, ENOB 14.080194; with half the span one bit less.
    noise, span = 1e-4, 6.0
    angle = 2 * np.pi * 17 * np.arange(4000) / 4000
    # A residual of known rms: a line of another frequency; n against n - 3 degrees of freedom is 0.04 % here.
    record = 2.0 * np.sin(angle) + noise * math.sqrt(2) * np.sin(angle * 5)
    found = fit_sine3(record, sample_rate_hz=4000.0, frequency_hz=17.0)
    rms = found.noise_code * math.sqrt(3997 / 4000)
    assert rms == pytest.approx(noise, rel=1e-9)
    assert db_from_ratio(found.amplitude_code / math.sqrt(2) / rms) == pytest.approx(83.010299957, abs=1e-6)
    assert sinad_db(amplitude_code=found.amplitude_code, residual_code=rms) == pytest.approx(83.010299957, abs=1e-6)
    assert effective_bits(span_code=span, residual_code=rms) == pytest.approx(14.080193630, abs=1e-6)
    assert effective_bits(span_code=span / 2, residual_code=rms) == pytest.approx(13.080193630, abs=1e-6)
    # (SINAD - 1.76)/6.02 holds at full scale only: 13.496727568; with 20·log10(3/2) added 14.081748362.
    rule = (83.010299957 - 1.76) / 6.02
    assert rule == pytest.approx(13.496727568, abs=1e-8)
    assert rule + db_from_ratio(1.5) / 6.02 == pytest.approx(14.081748362, abs=1e-8)
    # At a fill of 4/6 the signal uses log2(2/3) less.
    used = used_bits(span_code=span, residual_code=rms, fill_ratio=4 / 6)
    assert used == pytest.approx(14.080193630 + math.log2(2 / 3), abs=1e-6)


@pytest.mark.parametrize(
    ("bits", "exact_db", "printed_db"),
    # Source: Bennett (1948), 20·log10(2^N·√1.5), and the printed rule 6.02·N + 1.76; calculated for this project.
    [
        (6, 37.8845, 37.88),
        (8, 49.9257, 49.92),
        (10, 61.9669, 61.96),
        (12, 74.0081, 74.00),
        (14, 86.0493, 86.04),
        (16, 98.0905, 98.08),
        (18, 110.1317, 110.12),
        (20, 122.1729, 122.16),
        (24, 146.2553, 146.24),
    ],
)
def test_ideal_ratio_by_the_figures(bits, exact_db, printed_db):
    # A full-scale sine of an ideal converter: amplitude half the span, residual 1/√12.
    ideal_db = sinad_db(amplitude_code=2.0 ** (bits - 1), residual_code=math.sqrt(1 / 12))
    assert ideal_db == pytest.approx(exact_db, abs=5.1e-5)
    assert 6.02 * bits + 1.76 == pytest.approx(printed_db, abs=1e-9)
    assert effective_bits(span_code=2.0**bits, residual_code=math.sqrt(1 / 12)) == pytest.approx(bits, abs=1e-12)


@pytest.mark.parametrize(("bits", "samples"), [(8, 805), (10, 3217), (12, 12868), (14, 51472), (16, 205888)])
def test_samples_to_visit_every_code(bits, samples):
    # Source: π·2^N, IEEE Std 1057 and 1241, from memory; calculated for this project.
    assert samples_for_every_code(bits) == samples


def test_histogram_of_a_converter_with_two_wrong_codes():
    # Source: check of the open-source toolbox qwtb (published), calculated again for this project; tolerance 0.1 LSB.
    # Four bits, a 1 V sine of 10 Hz, 1 s at 10 kS/s, range ±1 V; then every code 2 reads 3, every code 11 reads 10.
    # Bins count from the first transition found: bin 1 is code 2.
    voltage = np.sin(2 * np.pi * 10 * (np.arange(10_000) + 0.5) / 10_000)
    codes = np.clip(np.floor((voltage + 1) * 8), 0, 15).astype(np.int16)
    codes[codes == 2], codes[codes == 11] = 3, 10
    found = sine_histogram(codes)
    dnl, inl = np.zeros(14), np.zeros(15)
    dnl[[1, 2, 9, 10]] = (-1.0, 1.0, 1.0, -1.0)
    # Transition T3, into code 3, comes one code early; T11, into code 11, one late. T1 stands at place 0.
    inl[2], inl[10] = -1.0, 1.0
    assert found.first_code == 1
    assert found.dnl_lsb == pytest.approx(dnl, abs=0.1)
    assert found.inl_lsb == pytest.approx(inl, abs=0.1)


@pytest.mark.parametrize(
    ("noise_code", "bias_code", "tolerance"),
    # Worst bias of the mean of a rounded DC level. Theory Widrow, Kollár, Liu, IEEE TIM 45(2) 1996; numbers calculated
    # for this project, to the digits that they are printed with.
    [
        (0.0, 0.5, 1e-12),
        (0.1, 0.286, 5e-4),
        (0.2, 0.145, 5e-4),
        (0.3, 0.054, 5e-4),
        (0.4, 0.0135, 5e-5),
        (0.5, 0.0023, 5e-5),
    ],
)
def test_bias_of_a_mean(noise_code, bias_code, tolerance):
    assert dc_bias_code(noise_code) == pytest.approx(bias_code, abs=tolerance)
    if noise_code >= 0.3:
        assert dc_bias_code(noise_code) == pytest.approx(math.exp(-2 * (math.pi * noise_code) ** 2) / math.pi, rel=1e-3)


@pytest.mark.parametrize(
    ("amplitude", "length", "noise", "sd_percent"),
    # Scatter of the fitted amplitude over random phase and offset, calculated for this project with 200 trials each: a
    # printed value has a scatter of 5 % of itself, as has ours; tolerance 20 %. Simple formula √(2/N·(σ² + 1/12))/A.
    [
        (100, 1000, 0.0, 0.014),
        (100, 1000, 0.3, 0.018),
        (100, 1000, 0.7, 0.034),
        (100, 10_000, 0.0, 0.012),
        (100, 10_000, 0.3, 0.006),
        (100, 10_000, 0.7, 0.011),
        (10, 1000, 0.0, 0.34),
        (10, 1000, 0.3, 0.20),
        (10, 1000, 0.7, 0.34),
        (10, 10_000, 0.0, 0.32),
        (10, 10_000, 0.3, 0.083),
        (10, 10_000, 0.7, 0.11),
        (3, 1000, 0.0, 2.1),
        (3, 1000, 0.3, 0.75),
        (3, 1000, 0.7, 1.06),
        (3, 10_000, 0.0, 2.0),
        (3, 10_000, 0.3, 0.38),
        (3, 10_000, 0.7, 0.36),
    ],
)
def test_scatter_of_the_amplitude(amplitude, length, noise, sd_percent):
    rng = np.random.default_rng(200)
    frequency = (math.sqrt(5) - 1) / 2 / 7
    angle = 2 * np.pi * frequency * np.arange(length)
    found = []
    for _ in range(200):
        clean = amplitude * np.sin(angle + rng.uniform(-np.pi, np.pi)) + rng.uniform(-0.5, 0.5)
        codes = np.rint(clean + rng.normal(0.0, noise, length)) if noise else np.rint(clean)
        found.append(fit_sine3(codes, sample_rate_hz=1.0, frequency_hz=frequency).amplitude_code)
    assert 100 * np.std(found) / amplitude == pytest.approx(sd_percent, rel=0.2)
    if noise >= 0.7:
        simple = 100 * math.sqrt(2 / length * (noise**2 + 1 / 12)) / amplitude
        assert 100 * np.std(found) / amplitude == pytest.approx(simple, rel=0.2)
