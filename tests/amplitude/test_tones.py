"""Hum and harmonics beside a sine."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.amplitude import fit_sine3, fit_sines, harmonics_hz, mains_hz, tones_of
from harness.errors import FitFailed, NotFinite

RATE_HZ, LENGTH, FREQUENCY_HZ = 50e3, 10_000, 997.0
TIME_S = np.arange(LENGTH) / RATE_HZ


def tone(frequency_hz, amplitude, phase_rad):
    return amplitude * np.sin(2 * np.pi * frequency_hz * TIME_S + phase_rad)


def fit(record, extra_hz=(), **changes):
    where = {"sample_rate_hz": RATE_HZ, "frequency_hz": FREQUENCY_HZ} | changes
    return fit_sines(record, extra_hz=extra_hz, **where)


def test_each_tone_is_found():
    hum = {50.0: (30.0, 0.2), 100.0: (4.0, -1.0), 150.0: (9.0, 2.0)}
    harmonics = {1994.0: (1.5, 0.5), 2991.0: (12.0, -2.5)}
    lines = hum | harmonics
    record = tone(FREQUENCY_HZ, 1500.0, 1.1) + 3.0 + sum(tone(f, a, p) for f, (a, p) in lines.items())
    found = fit(record, tuple(lines))
    assert found.signal.amplitude_code == pytest.approx(1500.0, rel=1e-10)
    assert found.signal.phase_rad == pytest.approx(1.1, rel=1e-9)
    assert found.signal.offset_code == pytest.approx(3.0, abs=1e-8)
    assert found.signal.noise_code < 1e-8
    for got, (frequency_hz, (amplitude, phase_rad)) in zip(found.extra, lines.items(), strict=True):
        assert got.frequency_hz == frequency_hz
        assert got.amplitude_code == pytest.approx(amplitude, rel=1e-8)
        assert got.phase_rad == pytest.approx(phase_rad, abs=1e-8)


def test_hum_that_is_not_fitted_pulls_and_fitted_hum_does_not():
    # 20.3 ms hold 1.015 periods of 50 Hz: the hum leaks into the sine unless it has columns of its own.
    record = (tone(FREQUENCY_HZ, 10.0, 0.3) + tone(50.0, 30.0, 0.9))[:1015]
    alone = fit_sine3(record, sample_rate_hz=RATE_HZ, frequency_hz=FREQUENCY_HZ)
    assert abs(alone.amplitude_code / 10.0 - 1.0) > 1e-3
    assert fit(record, (50.0,)).signal.amplitude_code == pytest.approx(10.0, rel=1e-9)


def test_without_extra_tones_it_is_the_plain_fit():
    record = tone(FREQUENCY_HZ, 100.0, 0.3) + np.random.default_rng(1).normal(0.0, 1.0, LENGTH)
    found = fit(record)
    assert found.signal == fit_sine3(record, sample_rate_hz=RATE_HZ, frequency_hz=FREQUENCY_HZ)
    assert found.extra == ()


def test_degrees_of_freedom_follow_the_columns():
    record = tone(FREQUENCY_HZ, 100.0, 0.3)[:100] + np.random.default_rng(2).normal(0.0, 1.0, 100)
    extra_hz = tuple(1500.0 * k for k in range(2, 8))
    columns = [np.ones(100)]
    for frequency_hz in (FREQUENCY_HZ, *extra_hz):
        angle = 2 * np.pi * frequency_hz * TIME_S[:100]
        columns += [np.sin(angle), np.cos(angle)]
    _, squares, _, _ = np.linalg.lstsq(np.column_stack(columns), record, rcond=None)
    assert fit(record, extra_hz).signal.noise_code == pytest.approx(math.sqrt(squares[0] / (100 - 15)), rel=1e-9)


def test_harmonics_fold_at_half_the_rate():
    assert harmonics_hz(1000.0, (2, 3, 4), sample_rate_hz=1e6) == (2000.0, 3000.0, 4000.0)
    assert harmonics_hz(20e3, (2, 3, 5), sample_rate_hz=50e3) == (10e3, 10e3, 0.0)


def test_mains_harmonics_end_where_told():
    assert mains_hz(50.0, up_to_hz=200.0) == (50.0, 100.0, 150.0, 200.0)
    assert mains_hz(60.0, up_to_hz=200.0) == (60.0, 120.0, 180.0)
    assert mains_hz(60.0, up_to_hz=10.0) == ()


def test_tones_that_cannot_be_told_apart_are_refused():
    record = tone(FREQUENCY_HZ, 10.0, 0.3)
    with pytest.raises(
        FitFailed, match=r"997, 997\.001 Hz cannot be told apart in 0\.2 s .*longer record or leave out"
    ):
        fit(record, (997.001,))


def test_extra_tone_must_be_a_frequency_below_half_the_rate():
    record = tone(FREQUENCY_HZ, 10.0, 0.3)
    for bad in (math.nan, 0.0, -50.0):
        with pytest.raises(NotFinite, match=r"extra tones: .* Hz; allowed is a positive finite number"):
            fit(record, (bad,))
    with pytest.raises(FitFailed, match=r"25000 Hz sampled at 50000 Hz; .*fold it back first"):
        fit(record, (25e3,))


def test_more_tones_than_samples_are_refused():
    with pytest.raises(FitFailed, match="59 samples for 26 extra tones; allowed are 60 or more"):
        fit(tone(FREQUENCY_HZ, 10.0, 0.3)[:59], tuple(2000.0 + 500.0 * k for k in range(26)))


def test_the_offset_is_as_uncertain_as_it_says():
    """8 ms hold 0.4 periods of 50 Hz: hum and offset are much alike, and the scatter of 400 offsets shows it."""
    length, rng = 400, np.random.default_rng(7)
    records = [tone(FREQUENCY_HZ, 100.0, 0.3)[:length] + rng.normal(0.0, 1.0, length) for _ in range(400)]
    fits = [fit(record, (50.0,)) for record in records]
    scatter = np.std([one.signal.offset_code for one in fits], ddof=1) * math.sqrt(length)
    assert fits[0].offset_spread_ratio > 3.0
    assert scatter == pytest.approx(fits[0].offset_spread_ratio, rel=0.15)
    # Whole cycles of everything leave the offset alone.
    whole = fit_sines(tone(1000.0, 9.0, 0.0) + 1.0, sample_rate_hz=RATE_HZ, frequency_hz=1000.0, extra_hz=(50.0,))
    assert whole.offset_spread_ratio == pytest.approx(1.0, abs=1e-9)


def test_the_sum_of_tones_is_what_was_put_in():
    found = fit(tone(FREQUENCY_HZ, 1500.0, 1.1) + tone(50.0, 30.0, 0.2) + tone(1994.0, 2.0, -1.0), (50.0, 1994.0))
    made = tone(50.0, 30.0, 0.2) + tone(1994.0, 2.0, -1.0)
    assert tones_of(found.extra, samples=LENGTH, sample_rate_hz=RATE_HZ) == pytest.approx(made, abs=1e-8)
