"""Averaged, held and interpolated data against plain samples."""

from __future__ import annotations

import numpy as np
import pytest

from harness.amplitude import noise_correlation, processed_samples
from harness.errors import FitFailed

LENGTH, CYCLES = 10_000, 37
ANGLE = 2 * np.pi * CYCLES * np.arange(LENGTH) / LENGTH


def record(seed, *, amplitude=1500.0, noise=0.4):
    rng = np.random.default_rng(seed)
    return np.rint(amplitude * np.sin(ANGLE + rng.uniform(0, 6)) + rng.normal(0.0, noise, LENGTH))


def names(samples, *, rate_hz=float(LENGTH), frequency_hz=float(CYCLES)):
    return [flag.name for flag in processed_samples(samples, sample_rate_hz=rate_hz, frequency_hz=frequency_hz)]


@pytest.mark.parametrize("noise", [0.1, 0.3, 0.6, 3.0])
@pytest.mark.parametrize("amplitude", [50.0, 1500.0])
def test_plain_records_raise_no_flag(noise, amplitude):
    for seed in range(20):
        assert names(record(seed, amplitude=amplitude, noise=noise).astype(np.int16)) == []


def test_fractions_are_no_codes():
    averaged = np.mean([record(3) for _ in range(1)] + [record(3) + 1], axis=0)
    flags = processed_samples(averaged, sample_rate_hz=float(LENGTH), frequency_hz=float(CYCLES))
    assert [(flag.name, flag.severity) for flag in flags] == [("non-integer-codes", "invalid")]
    assert "10000 of 10000 samples are no whole codes" in flags[0].reason


@pytest.mark.parametrize("factor", [2, 4, 10])
def test_held_samples_are_named(factor):
    held = np.repeat(record(4)[: LENGTH // factor], factor)
    assert names(held, frequency_hz=CYCLES / factor)[0] == "repeated-samples"


@pytest.mark.parametrize("factor", [2, 3, 5])
@pytest.mark.parametrize("noise", [0.8, 3.0])
def test_linear_interpolation_is_named(factor, noise):
    few = record(5, noise=noise)[: LENGTH // factor + 1]
    points = np.arange(factor * (few.size - 1)) / factor
    filled = np.rint(np.interp(points, np.arange(few.size), few))
    found = names(filled, frequency_hz=CYCLES / factor)
    # At little noise rounding hides the kinks of a fine interpolation; the correlation of the noise remains.
    assert "correlated-noise" in found
    if noise > 1.0:
        assert found[0] == "interpolated-samples"


# Before the record has settled the gain falls by 40 dB: the fit leaves large bends in a few samples of chance phases.
@pytest.mark.parametrize("place", [0, LENGTH // 3, LENGTH - 200])
def test_a_burst_is_no_interpolation(place):
    for seed in range(5):
        burst = record(seed, amplitude=15.0)
        burst[place : place + 23] *= np.linspace(60.0, 1.0, 23)
        assert "interpolated-samples" not in names(np.rint(burst))


def test_moving_average_correlates_the_noise():
    smooth = np.rint(np.convolve(record(6, noise=2.0), np.ones(4) / 4, mode="same"))[4:-4]
    assert names(smooth) == ["correlated-noise"]


def test_correlation_of_known_series():
    alternating = np.tile([1.0, -1.0], 500)
    assert noise_correlation(alternating) == pytest.approx(-1.0, abs=2e-3)
    assert noise_correlation(alternating, lag=2) == pytest.approx(1.0, abs=3e-3)
    assert noise_correlation(np.zeros(10)) == 0.0


def test_short_record_is_refused():
    with pytest.raises(FitFailed, match="199 samples; allowed are 200 or more"):
        names(record(1)[:199], frequency_hz=100.0)
