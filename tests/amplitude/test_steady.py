"""Steady levels: how much rounding hides, how dither shows it, whether a record is quiet."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.amplitude import dc_bias_code, rounded_amplitude_code, worst_bias_ratio
from harness.amplitude.steady import dithered_bias_code, is_quiet, steady, steady_noise_code
from harness.errors import FitFailed, NotFinite

LEVELS = np.linspace(-0.5, 0.5, 2001)


def even(positions):
    """Spread over one code."""
    return (np.arange(positions) + 0.5) / positions - 0.5


def rounded(level):
    """Nearest code, halves upward: a converter."""
    return np.floor(level + 0.5)


def worst(offsets):
    """Largest difference of the mean of rounded levels to the mean of the levels, over one code."""
    levels = LEVELS[:, np.newaxis] + offsets
    return float(np.abs((rounded(levels) - levels).mean(axis=1)).max())


@pytest.mark.parametrize("positions", [8, 10, 16, 64])
def test_even_dither_leaves_half_of_one_position(positions):
    offsets = even(positions)
    assert len(offsets) == positions
    assert offsets[-1] - offsets[0] == pytest.approx(1.0 - 1.0 / positions)
    assert dithered_bias_code(offsets) == pytest.approx(1.0 / (2 * positions), rel=1e-12)
    assert worst(offsets) <= 1.0 / (2 * positions) + 1e-9
    assert worst(offsets) > 0.99 / (2 * positions) - 1e-3


def test_one_level_alone_leaves_half_a_code():
    assert dithered_bias_code(np.array([0.2])) == 0.5
    assert worst(np.array([0.0])) == pytest.approx(0.5, abs=1e-3)


@given(
    positions=st.integers(8, 20),
    wide=st.floats(0.5, 1.5),
    shifts=st.lists(st.floats(-0.05, 0.05), min_size=20, max_size=20),
)
def test_what_the_positions_are_off_counts_in_full(positions, wide, shifts):
    # A gain that is off makes the dither too wide or narrow, the steps of a source make it uneven.
    offsets = wide * even(positions) + np.array(shifts[:positions])
    assert worst(offsets) <= dithered_bias_code(offsets) + 1e-9


def test_noise_and_dither_together_are_a_finer_converter():
    # Mean of a rounded level under Gaussian noise, exactly: Σ over codes of the probability to be above each threshold.
    offsets, noise = even(8), 0.05
    thresholds = np.arange(-3, 3) + 0.5

    def mean(level):
        above = [0.5 * math.erfc((t - level) / noise / math.sqrt(2.0)) for t in thresholds]
        return math.fsum(above) - 3.0

    found = max(abs(np.mean([mean(c + d) for d in offsets]) - c) for c in np.linspace(-0.5, 0.5, 401))
    assert dithered_bias_code(offsets, noise_code=noise) == pytest.approx(found, rel=0.01)
    assert dithered_bias_code(offsets, noise_code=noise) == pytest.approx(dc_bias_code(0.4) / 8, rel=1e-9)


@pytest.mark.parametrize("level", [0.0, 0.13, 0.25, 0.5])
def test_the_noise_before_rounding_wherever_the_level_lies(level):
    generator = np.random.default_rng(5)
    for noise in (0.3, 0.4, 0.7, 1.5):
        codes = rounded(generator.normal(7.0 + level, noise, 40_000)).astype(np.int16)
        assert steady_noise_code(codes) == pytest.approx(noise, rel=0.05)
    # Only two codes are met: an upper bound. The rms of the codes goes from 0.01 in mid-code to 0.5 at its edge.
    codes = rounded(generator.normal(7.0 + level, 0.1, 40_000)).astype(np.int16)
    assert 0.1 < steady_noise_code(codes) < 0.3


@pytest.mark.parametrize("level", [0.0, 0.25, 0.5])
def test_a_quiet_level_is_quiet_wherever_it_lies(level):
    generator = np.random.default_rng(6)
    for noise, quiet in ((0.0, True), (0.05, True), (0.2, True), (0.4, False), (1.0, False)):
        codes = rounded(generator.normal(level, noise, 4000)).astype(np.int16)
        assert is_quiet(codes) is quiet


def test_a_quiet_level_is_found_by_dither_and_not_without():
    # 0.37 of a code above 1536 and no noise at all: 1536 every time, and 1536.375 in the mean over eight positions.
    level, offsets = 1536.37, even(8)
    plain = steady(np.full(100, rounded(level)), positions=1)
    assert (plain.mean_code - level, plain.bias_code(np.zeros(1)), plain.u_code) == (pytest.approx(-0.37), 0.5, 0.0)
    found = steady(np.repeat(rounded(level + offsets), 100), positions=8)
    assert abs(found.mean_code - level) <= found.bias_code(offsets) == pytest.approx(1 / 16)
    assert found.positions == 8
    # Loud, the noise does the same.
    loud = steady(rounded(np.random.default_rng(1).normal(level, 0.6, 20_000)), positions=1)
    assert loud.bias_code(np.zeros(1)) < 0.001
    assert abs(loud.mean_code - level) < 0.001 + 4 * loud.u_code


def test_a_sine_of_a_thousand_codes_needs_no_dither():
    # What is left of rounding at half fill of 12 bits, and at a tenth: in percent of the gain.
    assert 100 * worst_bias_ratio(1024.0, noise_code=0.0) < 0.0012
    assert 100 * worst_bias_ratio(205.0, noise_code=0.0) < 0.013
    # Stepping the offset helps a sine of a few codes as it does a level.
    offsets = even(8)
    plain = [rounded_amplitude_code(3.2, centre_code=c) - 3.2 for c in (0.0, 0.25, 0.5)]
    dithered = [np.mean([rounded_amplitude_code(3.2, centre_code=c + d) for d in offsets]) - 3.2 for c in (0.0, 0.25)]
    assert max(map(abs, plain)) > 0.08
    assert max(map(abs, dithered)) < 0.01


def test_what_is_no_dither_is_refused():
    with pytest.raises(FitFailed, match="dither: no position"):
        dithered_bias_code(np.zeros(0))
    with pytest.raises(NotFinite, match=r"noise_code is -1\.0"):
        dithered_bias_code(np.zeros(1), noise_code=-1.0)
    with pytest.raises(NotFinite):
        dithered_bias_code(np.array([0.0, math.nan]))
    with pytest.raises(FitFailed, match=r"steady level: the record has shape \(7,\)"):
        steady_noise_code(np.zeros(7))
    for samples, positions in ((25, 8), (80, 0), (56, 8)):
        with pytest.raises(FitFailed, match=rf"samples of shape \({samples},\) for {positions} positions"):
            steady(np.zeros(samples), positions=positions)
    with pytest.raises(FitFailed, match="1 levels for 8 records; allowed is one for each"):
        steady(np.zeros(80), positions=8).bias_code(np.zeros(1))
