"""What the fit takes along, through the judge: hum, harmonics, a frequency that is not the one read back."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from harness.app.setup import Setup, fitted_by
from harness.config import FitTerms
from harness.judge.measured import Measured, measure
from harness.values import RunResult
from tests.judge.run_builder import FULL, judged, setup_at
from tests.judge.test_record_flags import FIRST, FREQUENCY_HZ, LENGTH, RATE_HZ, amplitude_code, replaced, sine

TERMS = FitTerms(mains_hz=50.0, harmonics=2)


def with_terms(setup: Setup, terms: FitTerms) -> Setup:
    job = setup.job.model_copy(update={"fit": terms})
    return dataclasses.replace(setup, job=job, device=fitted_by(job, setup.device))


def run_with(line_hz: float, code: float, terms: FitTerms | None) -> RunResult:
    """One setting; beside the signal a line of another frequency."""
    setup = setup_at(FIRST, limits=("gain", "noise", "offset"))
    setup = setup if terms is None else with_terms(setup, terms)
    line = code * np.sin(2.0 * np.pi * line_hz / RATE_HZ * np.arange(LENGTH) + 2.0)
    # A slow line on codes that are whole already would be rounded alike from sample to sample: dithered before it.
    even = np.random.default_rng(9).uniform(-0.5, 0.5, LENGTH)
    return judged(setup, [replaced(rung, np.rint(sine(rung) + even + line).astype(np.int16)) for rung in setup.rungs])


def gain_error(result: RunResult) -> float:
    (row,) = result.settings
    assert row.measured_codes_per_v is not None
    return abs(row.measured_codes_per_v / row.predicted_codes_per_v - 1.0)


def test_hum_biases_gain_and_noise_no_longer() -> None:
    """Hum of 100 codes (-24 dB) for 0.4 of its periods; these records are rounded twice."""
    plain, fitted = run_with(50.0, 100.0, None), run_with(50.0, 100.0, TERMS)
    assert gain_error(plain) > 4e-4 > 4e-5 > gain_error(fitted)
    before, after = plain.settings[0], fitted.settings[0]
    assert before.noise_code is not None
    assert after.noise_code is not None
    assert before.noise_code > 20.0
    assert after.noise_code == pytest.approx(np.hypot(0.6, 0.5), rel=0.05)
    assert {"correlated-noise", "rms-differs"} <= set(before.flags)
    assert after.flags == ()


def test_hum_and_harmonics_are_told_in_db_of_the_signal() -> None:
    hum, third = run_with(50.0, 100.0, TERMS).settings[0], run_with(2.0 * FREQUENCY_HZ, 15.0, TERMS).settings[0]
    signal = amplitude_code(setup_at(FIRST).rungs[0])
    assert hum.figures is not None
    assert third.figures is not None
    assert hum.figures.hum_db == pytest.approx(20.0 * np.log10(100.0 / signal), abs=0.05)
    assert third.figures.thd_db == pytest.approx(20.0 * np.log10(15.0 / signal), abs=0.05)
    # SINAD still counts them: a pure second harmonic of 15 codes, and hardly any noise.
    assert third.figures.sinad_db == pytest.approx(20.0 * np.log10(signal / 15.0), abs=0.1)
    assert run_with(50.0, 0.0, None).settings[0].figures.hum_db is None  # type: ignore[union-attr]


def test_the_offset_carries_the_doubt_that_hum_leaves() -> None:
    doubts = [
        next(claim.expanded for claim in run_with(50.0, 0.0, terms).judgements if claim.item == "offset")
        for terms in (None, TERMS)
    ]
    assert doubts[0] is not None
    assert doubts[1] is not None
    assert doubts[1] > 3.0 * doubts[0]


def test_lines_that_cannot_be_told_apart_are_left_out_and_said() -> None:
    result = run_with(50.0, 0.0, FitTerms(mains_hz=50.0, mains_lines=20))
    assert result.settings[0].flags == ("lines-not-fitted",)
    assert "cannot be told apart in 0.008 s" in result.flags[0].example
    assert gain_error(result) < 1e-4


def measured_at(true_hz: float, *, read_hz: float, length: int = 20 * LENGTH) -> Measured:
    """A record twenty times as long as the device's own, of a sine with noise."""
    rung = setup_at(FIRST).rungs[0]
    angle = 2.0 * np.pi * true_hz / RATE_HZ * np.arange(length)
    noise = np.random.default_rng(4).normal(0.0, 0.6, length)
    codes = np.rint(amplitude_code(rung) * np.sin(angle + 0.7) + noise).astype(np.int16)
    reading = dataclasses.replace(replaced(rung, codes), frequency_hz=read_hz)
    return measure(reading, device=FULL.device, bus=None, latches=(), input_ratio=FULL.input_ratio)


def relative(found: Measured) -> float:
    assert found.gain_codes_per_v is not None
    return found.gain_codes_per_v / setup_at(FIRST).rungs[0].prediction.gain_codes_per_v - 1.0


def test_clocks_that_differ_by_50_ppm_cost_no_gain() -> None:
    """20 × 17 cycles off by 50 ppm would lose (π·0.017)²/6 = 0.05 %."""
    found = measured_at(FREQUENCY_HZ * (1.0 + 50e-6), read_hz=FREQUENCY_HZ)
    assert abs(relative(found)) < 2e-5
    (flag,) = found.flags
    assert flag.name == "frequency-off"
    assert "+50 ppm of 2125 Hz" in flag.reason
    assert "raised the gain by 0.048 %" in flag.reason
    assert measured_at(FREQUENCY_HZ, read_hz=FREQUENCY_HZ).flags == ()


def test_a_frequency_that_nobody_reads_back_is_found_and_said() -> None:
    found = measured_at(FREQUENCY_HZ + 3.0, read_hz=0.0, length=LENGTH)
    assert abs(relative(found)) < 5e-5
    (flag,) = found.flags
    assert flag.name == "frequency-unknown"
    assert "the record holds 2128.0" in flag.reason


def test_where_no_frequency_can_be_found_the_planned_one_holds() -> None:
    """Four bins away there is nothing to start from."""
    found = measured_at(FREQUENCY_HZ + 500.0, read_hz=0.0, length=LENGTH)
    assert found.fitted is not None
    assert found.fitted.frequency_hz == FREQUENCY_HZ
    assert [flag.name for flag in found.flags if "none could be found" in flag.reason] == ["frequency-unknown"]
