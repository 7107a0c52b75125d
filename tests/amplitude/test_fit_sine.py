"""The sine fit: against closed forms, another algorithm and its own symmetries; each refusal in words."""

from __future__ import annotations

import math
import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.amplitude import fit_sine3, fit_sines3
from harness.errors import FitFailed, MeasureError, NotFinite, TooFewCycles

CALM = settings(derandomize=True, deadline=None)  # the same examples on every machine, however busy
RATE_HZ = 500e3
LENGTH = 4000
FREQUENCY_HZ = 2125.0


def sine(amplitude, phase_rad, offset=0.0, *, length=LENGTH, frequency_hz=FREQUENCY_HZ, rate_hz=RATE_HZ):
    return amplitude * np.sin(2 * np.pi * frequency_hz * np.arange(length) / rate_hz + phase_rad) + offset


def fit(samples, **changes):
    return fit_sine3(samples, **{"sample_rate_hz": RATE_HZ, "frequency_hz": FREQUENCY_HZ} | changes)


def noisy(seed, amplitude=1000.0, noise=3.0):
    return sine(amplitude, 0.4, 7.0) + np.random.default_rng(seed).normal(0.0, noise, LENGTH)


@CALM
@given(
    amplitude=st.floats(0.01, 3e4),
    phase_rad=st.floats(-3.14, 3.14),
    offset=st.floats(-1e4, 1e4),
    length=st.integers(64, 3000),
    cycles=st.floats(1.0, 20.0),
)
def test_clean_sine_is_recovered(amplitude, phase_rad, offset, length, cycles):
    frequency_hz = RATE_HZ * cycles / length
    record = sine(amplitude, phase_rad, offset, length=length, frequency_hz=frequency_hz)
    found = fit(record, frequency_hz=frequency_hz)
    scale = amplitude + abs(offset)
    assert found.amplitude_code == pytest.approx(amplitude, abs=1e-10 * scale)
    assert found.offset_code == pytest.approx(offset, abs=1e-10 * scale)
    assert abs(math.remainder(found.phase_rad - phase_rad, math.tau)) < 1e-9 * scale / amplitude
    assert found.noise_code < 1e-10 * scale
    assert found.samples == length


def test_agrees_with_general_least_squares():
    record = noisy(11)
    angle = 2 * np.pi * FREQUENCY_HZ * np.arange(LENGTH) / RATE_HZ
    design = np.column_stack((np.cos(angle), np.sin(angle), np.ones(LENGTH)))
    (cosine, sine_part, offset), squares, _, _ = np.linalg.lstsq(design, record, rcond=None)
    found = fit(record)
    assert found.amplitude_code == pytest.approx(math.hypot(cosine, sine_part), rel=1e-12)
    assert found.offset_code == pytest.approx(offset, rel=1e-10)
    assert found.phase_rad == pytest.approx(math.atan2(cosine, sine_part), rel=1e-12)
    assert found.noise_code == pytest.approx(math.sqrt(squares[0] / (LENGTH - 3)), rel=1e-10)


def test_coherent_record_agrees_with_fourier_line():
    record = noisy(12)
    line = np.fft.rfft(record)[17] * 2 / LENGTH  # 17 whole cycles
    assert fit(record).amplitude_code == pytest.approx(abs(line), rel=1e-12)
    assert fit(record).phase_rad == pytest.approx(np.angle(line) + math.pi / 2, rel=1e-12)


@CALM
@given(factor=st.floats(1e-3, 1e3), seed=st.integers(0, 2**32 - 1))
def test_scaled_record_scales_the_fit(factor, seed):
    record = noisy(seed)
    once, scaled = fit(record), fit(record * factor)
    assert scaled.amplitude_code == pytest.approx(factor * once.amplitude_code, rel=1e-12)
    assert scaled.noise_code == pytest.approx(factor * once.noise_code, rel=1e-9)
    assert scaled.phase_rad == pytest.approx(once.phase_rad, rel=1e-9)


@CALM
@given(shift=st.floats(-1e4, 1e4), seed=st.integers(0, 2**32 - 1))
def test_offset_moves_only_the_offset(shift, seed):
    record = noisy(seed)
    once, shifted = fit(record), fit(record + shift)
    assert shifted.offset_code == pytest.approx(once.offset_code + shift, abs=1e-8)
    assert shifted.amplitude_code == pytest.approx(once.amplitude_code, rel=1e-11)
    assert shifted.noise_code == pytest.approx(once.noise_code, rel=1e-9)


@CALM
@given(phase_rad=st.floats(-3.1, 3.1))
def test_phase_leaves_the_amplitude_alone(phase_rad):
    assert fit(sine(1500.0, phase_rad, 3.0)).amplitude_code == pytest.approx(1500.0, rel=1e-12)


def test_phase_is_never_minus_pi():
    assert fit(-sine(5.0, 0.0)).phase_rad == pytest.approx(math.pi, abs=1e-12)
    # Rounding lands on both sides of the cut, half of the time on -π itself.
    phases = [
        fit(-sine(1.0, 0.0, length=length, frequency_hz=RATE_HZ / length), frequency_hz=RATE_HZ / length).phase_rad
        for length in range(8, 300)
    ]
    assert min(np.abs(phases)) == pytest.approx(math.pi, abs=1e-12)
    assert min(phases) > -math.pi
    assert max(phases) == math.pi


@CALM
@given(seed=st.integers(0, 2**32 - 1))
def test_int16_and_float_records_fit_exactly_alike(seed):
    codes = np.round(noisy(seed)).astype(np.int16)
    assert fit(codes) == fit(codes.astype(np.float64))


def test_full_int16_span_does_not_overflow():
    codes = np.round(sine(32767.0, 0.1)).astype(np.int16)
    assert fit(codes).amplitude_code == pytest.approx(32767.0, rel=1e-5)


def test_silent_record_is_all_zero():
    found = fit(np.zeros(LENGTH, dtype=np.int16))
    assert (found.amplitude_code, found.offset_code, found.noise_code) == (0.0, 0.0, 0.0)


def test_read_only_record_is_left_alone():
    codes = np.round(noisy(3)).astype(np.int16)
    codes.setflags(write=False)
    before = codes.copy()
    fit(codes)
    assert np.array_equal(codes, before)


def test_batch_agrees_with_single_fits():
    records = np.stack([noisy(seed, amplitude=100.0 * (seed + 1)) for seed in range(5)])
    batch = fit_sines3(records, sample_rate_hz=RATE_HZ, frequency_hz=FREQUENCY_HZ)
    singles = [fit(record) for record in records]
    for name in ("amplitude_code", "offset_code", "phase_rad", "noise_code"):
        values = getattr(batch, name)
        assert values.shape == (5,)
        assert values == pytest.approx(np.array([getattr(one, name) for one in singles]), rel=1e-9)
        with pytest.raises(ValueError, match="read-only"):
            values[0] = 0.0
    assert batch.samples == LENGTH


def test_batch_takes_int16_and_no_record_at_all():
    codes = np.round(np.stack([noisy(1), noisy(2)])).astype(np.int16)
    batch = fit_sines3(codes, sample_rate_hz=RATE_HZ, frequency_hz=FREQUENCY_HZ)
    assert batch.amplitude_code[1] == pytest.approx(fit(codes[1]).amplitude_code, rel=1e-12)
    none = fit_sines3(np.empty((0, LENGTH)), sample_rate_hz=RATE_HZ, frequency_hz=FREQUENCY_HZ)
    assert none.amplitude_code.shape == (0,)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 9.9e37, 9.91e37, -9.9e37])
def test_sample_that_is_no_number_is_refused(bad):
    record = noisy(5)
    record[123] = bad
    with pytest.raises(NotFinite, match=r"sample 123 is .*allowed are finite numbers below 9\.9E36"):
        fit(record)
    with pytest.raises(NotFinite, match="sample 4123 is"):
        fit_sines3(np.stack([noisy(5), record]), sample_rate_hz=RATE_HZ, frequency_hz=FREQUENCY_HZ)


@pytest.mark.parametrize("bad", [math.nan, math.inf, 0.0, -1.0, 9.91e37])
@pytest.mark.parametrize("name", ["sample_rate_hz", "frequency_hz"])
def test_rate_and_frequency_must_be_positive(name, bad):
    with pytest.raises(NotFinite, match=f"{name} is .*allowed is a positive finite number"):
        fit(noisy(5), **{name: bad})


def test_less_than_one_cycle_is_refused():
    with pytest.raises(TooFewCycles, match=r"holds 0\.96 cycles of 120 Hz; allowed is one or more"):
        fit(noisy(5), frequency_hz=120.0)


def test_exactly_one_cycle_is_enough():
    for length in range(8, 400):
        frequency_hz = RATE_HZ / length
        record = sine(3.0, 0.2, length=length, frequency_hz=frequency_hz)
        assert fit(record, frequency_hz=frequency_hz).amplitude_code == pytest.approx(3.0, rel=1e-12)


@pytest.mark.parametrize("frequency_hz", [250e3, 300e3, 1e9])
def test_frequency_from_half_the_rate_up_is_refused(frequency_hz):
    with pytest.raises(FitFailed, match="allowed is less than half the sample rate: sample faster"):
        fit(noisy(5), frequency_hz=frequency_hz)


def test_seven_samples_are_refused():
    with pytest.raises(FitFailed, match="7 samples; allowed are 8 or more"):
        fit(noisy(5)[:7], frequency_hz=100e3)


def test_frequency_next_to_half_the_rate_is_refused():
    with pytest.raises(FitFailed, match=r"cannot be told apart in 8 samples .*move the frequency away"):
        fit(noisy(5)[:8], frequency_hz=250e3 * (1 - 1e-10))


def test_wrong_shapes_are_refused():
    with pytest.raises(FitFailed, match=r"shape \(2, 8\); allowed is one record, shape \(n,\)"):
        fit(np.zeros((2, 8)))
    with pytest.raises(FitFailed, match=r"shape \(8,\); allowed is one record a row, shape \(m, n\)"):
        fit_sines3(np.zeros(8), sample_rate_hz=RATE_HZ, frequency_hz=FREQUENCY_HZ)


def test_errors_survive_pickling_and_name_their_reason():
    with pytest.raises(MeasureError) as caught:
        fit(noisy(5)[:7], frequency_hz=100e3)
    again = pickle.loads(pickle.dumps(caught.value))
    assert (type(again), str(again), again.reason) == (FitFailed, str(caught.value), "fit-failed")
