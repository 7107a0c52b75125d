"""Figures of ideal converters, seen through the sine fit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.amplitude import fit_sine3
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
    assert math.log2(span / (rms * math.sqrt(12))) == pytest.approx(14.080193630, abs=1e-6)
    assert math.log2(span / 2 / (rms * math.sqrt(12))) == pytest.approx(13.080193630, abs=1e-6)
