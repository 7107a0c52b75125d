"""Offset and noise split over a ladder, code gaps, histogram, refusals of the figures."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.amplitude import (
    code_gaps,
    dc_bias_code,
    effective_bits,
    noise_at_input_v,
    rounded_amplitude_code,
    samples_for_every_code,
    sinad_db,
    sine_histogram,
    split_noise,
    split_offset,
    used_bits,
    worst_bias_ratio,
)
from harness.errors import FitFailed, NotFinite

GAINS = np.array([200.0, 500.0, 1000.0, 2000.0, 5000.0, 20_000.0])


def test_offset_line_is_exact_without_scatter():
    found = split_offset(GAINS, 20e-6 * GAINS + 4.0)
    assert found.before_v == pytest.approx(20e-6, rel=1e-9)
    assert found.after_code == pytest.approx(4.0, rel=1e-9)
    assert found.u_before_v < 1e-15
    assert found.u_after_code < 1e-12
    assert found.freedom == 4


def test_uncertainty_of_the_offsets_is_that_of_the_line():
    rng = np.random.default_rng(8)
    found = [split_offset(GAINS, 20e-6 * GAINS + 4.0 + rng.normal(0.0, 0.1, GAINS.size)) for _ in range(2000)]
    for value, u, truth in (("before_v", "u_before_v", 20e-6), ("after_code", "u_after_code", 4.0)):
        values = np.array([getattr(one, value) for one in found])
        squares = np.array([getattr(one, u) ** 2 for one in found])
        assert values.var() == pytest.approx(squares.mean(), rel=0.12)
        assert values.mean() == pytest.approx(truth, abs=4 * values.std() / math.sqrt(2000))


def test_noise_splits_in_squares():
    found = split_noise(GAINS, np.hypot(3e-6 * GAINS, 0.5))
    assert found.input_v == pytest.approx(3e-6, rel=1e-9)
    assert found.converter_code == pytest.approx(0.5, rel=1e-9)
    assert split_noise(GAINS, np.full(GAINS.size, 0.4)).input_v == pytest.approx(0.0, abs=1e-10)


def test_lines_refuse_what_is_no_line():
    with pytest.raises(
        FitFailed, match=r"offset against gain: shapes \(2,\) and \(2,\); allowed are two equal ones of 3"
    ):
        split_offset(GAINS[:2], GAINS[:2])
    with pytest.raises(FitFailed, match="noise against gain: all gains are equal"):
        split_noise(np.full(4, 100.0), np.ones(4))
    with pytest.raises(NotFinite, match="offset against gain: a value is not finite"):
        split_offset(GAINS, np.full(GAINS.size, math.nan))


def test_gaps_are_counted():
    found = code_gaps(np.array([0, 1, 4, 5, 6, 9], dtype=np.int16), amplitude_code=4.5)
    assert (found.inner, found.empty, found.longest) == (8, 4, 2)
    assert found.share_ratio == 0.5
    assert code_gaps(np.array([3, 3], dtype=np.int16), amplitude_code=1.0).inner == 0


def test_gap_share_by_chance_of_a_twelve_bit_record():
    # 10 000 samples at fill 0.75 leave about 4.8 % of the codes empty by chance (calculated for this project).
    rng = np.random.default_rng(12)
    shares = []
    for _ in range(10):
        sine = 1536.0 * np.sin(2 * np.pi * 0.0371937 * np.arange(10_000) + rng.uniform(0, 6))
        found = code_gaps(np.rint(sine + rng.normal(0, 0.7, 10_000)).astype(np.int16), amplitude_code=1536.0)
        shares.append(found.share_ratio)
    assert np.mean(shares) == pytest.approx(0.048, abs=0.01)
    # Samples of a sine are spread more evenly than chance: the closed form bounds the share from above.
    assert np.mean(shares) < found.chance_ratio < 0.1


def test_empty_gap_record_is_refused():
    with pytest.raises(FitFailed, match="code gaps: the record is empty"):
        code_gaps(np.zeros(0, dtype=np.int16), amplitude_code=1.0)


def test_figures_want_positive_numbers():
    with pytest.raises(NotFinite, match=r"residual_code is 0\.0; allowed is a positive finite number"):
        sinad_db(amplitude_code=1.0, residual_code=0.0)
    with pytest.raises(NotFinite, match="span_code is nan"):
        effective_bits(span_code=math.nan, residual_code=1.0)
    with pytest.raises(NotFinite, match=r"fill_ratio is -0\.5"):
        used_bits(span_code=4096.0, residual_code=1.0, fill_ratio=-0.5)
    with pytest.raises(NotFinite, match=r"gain_codes_per_v is 0\.0"):
        noise_at_input_v(noise_code=1.0, gain_codes_per_v=0.0)
    with pytest.raises(NotFinite, match=r"noise_code is -1\.0; allowed is a finite number, not negative"):
        noise_at_input_v(noise_code=-1.0, gain_codes_per_v=2.0)
    with pytest.raises(NotFinite, match="amplitude_code is 0"):
        code_gaps(np.zeros(4, dtype=np.int16), amplitude_code=0)


def test_noise_at_the_input_and_used_bits():
    assert noise_at_input_v(noise_code=0.5, gain_codes_per_v=2000.0) == pytest.approx(250e-6)
    whole = effective_bits(span_code=4096.0, residual_code=math.sqrt(1 / 12))
    assert whole == pytest.approx(12.0)
    assert used_bits(span_code=4096.0, residual_code=math.sqrt(1 / 12), fill_ratio=0.25) == pytest.approx(10.0)


def test_histogram_finds_a_wide_and_a_narrow_code():
    thresholds = np.arange(-7, 8) - 0.5
    thresholds[5] += 0.4  # code 4 wider, code 5 narrower, counted from code -8
    angle = 2 * np.pi * np.arange(200_000) * ((math.sqrt(5) - 1) / 2)
    codes = (np.searchsorted(thresholds, 8.2 * np.sin(angle)) - 8).astype(np.int16)
    found = sine_histogram(codes)
    expected = np.zeros(14)
    expected[4], expected[5] = 0.4, -0.4
    assert found.first_code == -7
    assert found.dnl_lsb == pytest.approx(expected, abs=0.01)
    assert found.inl_lsb == pytest.approx(np.where(np.arange(15) == 5, 0.4, 0.0), abs=0.01)
    with pytest.raises(ValueError, match="read-only"):
        found.dnl_lsb[0] = 0.0


def test_histogram_and_record_length_refuse_nonsense():
    with pytest.raises(FitFailed, match="3 distinct codes; allowed are 4 or more"):
        sine_histogram(np.array([0, 1, 2, 2], dtype=np.int16))
    with pytest.raises(FitFailed, match="0 distinct codes"):
        sine_histogram(np.zeros(0, dtype=np.int16))
    with pytest.raises(NotFinite, match="0 bits; allowed is 1 or more"):
        samples_for_every_code(0)


def test_rounding_series_agree_where_they_meet():
    for amplitude in (0.3, 0.75, 2.3, 10.37, 383.7):
        for centre in (0.0, 0.21, 0.5):
            closed = rounded_amplitude_code(amplitude, centre_code=centre)
            series = rounded_amplitude_code(amplitude, centre_code=centre, noise_code=0.0200001)
            angle = (np.arange(400_000) + 0.5) * 2 * np.pi / 400_000
            numeric = 2 * np.mean(np.rint(amplitude * np.sin(angle) + centre) * np.sin(angle))
            assert closed == pytest.approx(numeric, abs=2e-4)
            assert series == pytest.approx(closed, abs=0.03)
    assert rounded_amplitude_code(0.0) == 0.0


def test_worst_bias_shrinks_with_noise_and_size():
    assert worst_bias_ratio(3.0, noise_code=0.0) > worst_bias_ratio(3.0, noise_code=0.2) > 1e-3
    assert worst_bias_ratio(3.0, noise_code=0.5) < 1e-3
    assert worst_bias_ratio(1536.0, noise_code=0.0) < 1e-4


def test_rounding_refuses_what_is_no_number():
    with pytest.raises(NotFinite, match=r"rounded sine: noise_code is -0\.1"):
        rounded_amplitude_code(1.0, noise_code=-0.1)
    with pytest.raises(NotFinite, match="rounded sine: centre_code is nan"):
        rounded_amplitude_code(1.0, centre_code=math.nan)
    with pytest.raises(NotFinite, match=r"worst bias: amplitude_code is 0\.0"):
        worst_bias_ratio(0.0, noise_code=0.0)
    with pytest.raises(NotFinite, match="DC bias: noise_code is inf"):
        dc_bias_code(math.inf)
