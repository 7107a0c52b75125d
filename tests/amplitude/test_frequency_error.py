"""A sine off its frequency: the loss of a line off its bin, and what must not be taken for one."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.amplitude import fit_sine3, fit_sine4, frequency_error

RATE_HZ, LENGTH, FREQUENCY_HZ = 1e6, 20_000, 50_050.0
AT = {"sample_rate_hz": RATE_HZ, "frequency_hz": FREQUENCY_HZ}


def sine(frequency_hz, *, sigma_code=0.6, seed=3):
    angle = 2 * np.pi * frequency_hz / RATE_HZ * np.arange(LENGTH)
    return 1500.0 * np.sin(angle + 0.4) + np.random.default_rng(seed).normal(0.0, sigma_code, LENGTH)


@pytest.mark.parametrize("ppm", [-50.0, 20.0, 50.0])
def test_the_loss_is_that_of_a_line_off_its_bin(ppm):
    """sin(πδT)/(πδT): 50 ppm of 1001 cycles lose 0.41 %, which the free frequency gives back."""
    samples = sine(FREQUENCY_HZ * (1.0 + ppm * 1e-6))
    fit = fit_sine3(samples, **AT)
    off = frequency_error(samples, fit, **AT)
    angle = math.pi * 1001.0 * ppm * 1e-6
    assert fit.amplitude_code / 1500.0 == pytest.approx(math.sin(angle) / angle, abs=1e-4)
    assert off.off_hz == pytest.approx(FREQUENCY_HZ * ppm * 1e-6, rel=0.02)
    assert off.loss_ratio == pytest.approx(angle**2 / 6.0, rel=0.05)
    assert off.costs
    assert fit_sine4(samples, **AT).amplitude_code == pytest.approx(1500.0, abs=0.03)


@pytest.mark.parametrize("ppm", [0.0, 0.5])
def test_what_costs_nothing_is_left_alone(ppm):
    samples = sine(FREQUENCY_HZ * (1.0 + ppm * 1e-6))
    assert not frequency_error(samples, fit_sine3(samples, **AT), **AT).costs


def test_noise_and_hum_are_no_other_frequency():
    hum = 150.0 * np.sin(2 * np.pi * 50.0 / RATE_HZ * np.arange(LENGTH))
    for samples in (sine(FREQUENCY_HZ, sigma_code=500.0), sine(FREQUENCY_HZ) + hum):
        assert not frequency_error(samples, fit_sine3(samples, **AT), **AT).costs


def test_a_record_without_a_sine_says_nothing():
    nothing = np.zeros(LENGTH)
    assert frequency_error(nothing, fit_sine3(nothing, **AT), **AT) is None
