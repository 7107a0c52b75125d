"""RMS beside the fit: closed forms of what a second line adds, and silence where only noise does."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.amplitude import fit_sine3, fit_sines, rms_differs

RATE_HZ, LENGTH, FREQUENCY_HZ = 500e3, 4000, 2125.0
TIME_S = np.arange(LENGTH) / RATE_HZ
AT = {"sample_rate_hz": RATE_HZ, "frequency_hz": FREQUENCY_HZ}


def record(*, hum_code=0.0, sigma_code=0.6, seed=1, amplitude_code=1500.0):
    sine = amplitude_code * np.sin(2 * np.pi * FREQUENCY_HZ * TIME_S + 0.7)
    # Three whole cycles in the record: orthogonal to sine and mean, so the closed form is exact.
    hum = hum_code * np.sin(2 * np.pi * 375.0 * TIME_S + 0.2)
    return sine + hum + 2.5 + np.random.default_rng(seed).normal(0.0, sigma_code, LENGTH)


def check(samples, **changes):
    return rms_differs(samples, fit=fit_sine3(samples, **AT), **{**AT, **changes})


def test_a_second_line_adds_its_power():
    """√(A² + h²): 30 codes beside 1500 are 0.02 %."""
    flag = check(record(hum_code=30.0, sigma_code=0.05))
    assert (flag.name, flag.severity) == ("rms-differs", "flag")
    assert f"stands for {math.hypot(1500.0, 30.0):.5g} codes" in flag.reason
    assert "(+0.02 %)" in flag.reason


@pytest.mark.parametrize("sigma_code", [0.0, 0.3, 3.0, 300.0])
@pytest.mark.parametrize("amplitude_code", [20.0, 1500.0])
def test_noise_and_rounding_alone_say_nothing(sigma_code, amplitude_code):
    for seed in range(10):
        sound = np.rint(record(sigma_code=sigma_code, seed=seed, amplitude_code=amplitude_code))
        assert check(sound) is None


def test_what_the_fit_took_along_is_known():
    samples = record(hum_code=30.0)
    found = fit_sines(samples, **AT, extra_hz=(375.0,))
    assert rms_differs(samples, fit=found.signal, **AT, tones=found.extra) is None


def test_without_whole_cycles_or_a_sine_nothing_is_said():
    cut = record(hum_code=30.0)[:3900]
    assert rms_differs(cut, fit=fit_sine3(cut, **AT), **AT) is None
    assert check(np.zeros(LENGTH)) is None
