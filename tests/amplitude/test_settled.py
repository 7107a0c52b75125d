"""A signal that still settles at the start of its record."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.amplitude import fit_sine3, start_unrest

LENGTH, CYCLES = 4000, 17
TIME = np.arange(LENGTH) / LENGTH


def unrest(gain: np.ndarray, noise: float, seed: int = 1) -> float:
    rng = np.random.default_rng(seed)
    codes = 500.0 * gain * np.sin(2.0 * np.pi * CYCLES * TIME) + rng.normal(0.0, noise, LENGTH)
    asked = {"sample_rate_hz": float(LENGTH), "frequency_hz": float(CYCLES)}
    return start_unrest(codes, fit=fit_sine3(codes, **asked), **asked)


def test_a_settled_signal_leaves_as_much_at_the_start_as_later() -> None:
    found = [unrest(np.ones(LENGTH), 0.5, seed) for seed in range(30)]
    assert np.mean(found) == pytest.approx(1.0, abs=0.03)
    # √(11/4000) = 5.2 %: variance of an rms σ²/(2n), with n/20 and n/2 samples.
    assert np.std(found) == pytest.approx(math.sqrt(11.0 / LENGTH), rel=0.4)
    assert max(found) < 1.3


def test_one_percent_still_to_go_at_the_start() -> None:
    late = 1.0 - 0.01 * np.exp(-np.arange(LENGTH) / 100.0)
    # By hand: mean square of 500·0.01·sin·exp(-t/100) over 200 samples is 12.5 · (1 - e^-4)/4, and 0.25 of noise.
    assert unrest(late, 0.5) == pytest.approx(math.sqrt((12.5 * (1.0 - math.exp(-4.0)) / 4.0 + 0.25) / 0.25), rel=0.15)


def test_a_record_without_any_noise_is_settled() -> None:
    assert start_unrest(
        np.zeros(LENGTH), sample_rate_hz=1.0 * LENGTH, frequency_hz=1.0 * CYCLES,
        fit=fit_sine3(np.zeros(LENGTH), sample_rate_hz=1.0 * LENGTH, frequency_hz=1.0 * CYCLES),
    ) == 1.0  # fmt: skip


def test_a_short_record_tells_nothing() -> None:
    codes = np.sin(2.0 * np.pi * CYCLES * TIME)
    fit = fit_sine3(codes, sample_rate_hz=1.0 * LENGTH, frequency_hz=1.0 * CYCLES)
    assert start_unrest(2.0 * codes[:199], sample_rate_hz=1.0 * LENGTH, frequency_hz=1.0 * CYCLES, fit=fit) == 1.0
