"""Both half waves of a record: closed forms, and what is no record."""

from __future__ import annotations

import numpy as np
import pytest

from harness.amplitude import fit_sine3, half_waves
from harness.errors import FitFailed, NotFinite
from harness.values import SineFit

RATE_HZ, CYCLES, SAMPLES = 500.0e3, 17, 4000
TEST_HZ = CYCLES * RATE_HZ / SAMPLES
ANGLE = 2.0 * np.pi * TEST_HZ / RATE_HZ * np.arange(SAMPLES) + 0.7


def found(volts: np.ndarray) -> tuple[float, float]:
    fit = fit_sine3(volts, sample_rate_hz=RATE_HZ, frequency_hz=TEST_HZ)
    made = half_waves(volts, fit, sample_rate_hz=RATE_HZ, frequency_hz=TEST_HZ)
    return made.difference_percent, made.u_percent


@pytest.mark.parametrize("percent", [-5.0, 0.0, 0.3, 2.0])
def test_a_gain_for_each_polarity_is_found_again(percent: float) -> None:
    wave = np.sin(ANGLE)
    above, below = 1000.0 * (1.0 + percent / 200.0), 1000.0 * (1.0 - percent / 200.0)
    difference, u_percent = found(30.0 + above * np.maximum(wave, 0.0) + below * np.minimum(wave, 0.0))
    assert difference == pytest.approx(percent, abs=1e-3)
    assert u_percent < 1e-3


def test_an_even_harmonic_in_step_is_a_difference_and_others_are_none() -> None:
    """δ/2·|sin x| has the second harmonic δ·2/(3π): 0.1 % of it are 0.471 %, and least squares find nearly that."""
    sine = 1000.0 * np.sin(ANGLE)
    assert found(sine - np.cos(2.0 * ANGLE))[0] == pytest.approx(0.471, rel=0.1)
    assert found(sine + np.sin(2.0 * ANGLE))[0] == pytest.approx(0.0, abs=1e-3)
    assert found(sine + 5.0 * np.sin(3.0 * ANGLE))[0] == pytest.approx(0.0, abs=1e-3)


def test_the_uncertainty_is_that_of_the_scatter() -> None:
    rng = np.random.default_rng(3)
    runs = [found(1000.0 * np.sin(ANGLE) + rng.normal(0.0, 5.0, SAMPLES)) for _ in range(60)]
    scatter = float(np.std([difference for difference, _ in runs], ddof=1))
    # A standard deviation of 60 is known to 9 %.
    assert scatter == pytest.approx(runs[0][1], rel=0.35)


@pytest.mark.parametrize(
    ("codes", "changes", "error", "said"),
    [
        (np.zeros(7), {}, FitFailed, "7 samples; allowed are 8"),
        (np.zeros(4000), {}, FitFailed, "no amplitude"),
        (np.sin(0.1 * np.arange(20)), {"frequency_hz": 500.0}, FitFailed, "lacks a half wave"),
        (np.zeros(4000), {"frequency_hz": float("nan")}, NotFinite, "frequency_hz is nan"),
        (np.zeros(4000), {"sample_rate_hz": 0.0}, NotFinite, "sample_rate_hz is 0.0"),
    ],
)
def test_what_is_no_record_says_so(codes: np.ndarray, changes: dict[str, float], error: type, said: str) -> None:
    fit = SineFit(amplitude_code=1.0, phase_rad=0.7, offset_code=0.0, noise_code=0.0, samples=codes.size)
    with pytest.raises(error, match=said):
        half_waves(codes, fit, **({"sample_rate_hz": RATE_HZ, "frequency_hz": TEST_HZ} | changes))
