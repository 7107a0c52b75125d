"""Rails, flat tops, fill and code spacing of a record."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.amplitude import check_quality, code_spacing, fit_sine3
from harness.errors import FitFailed, NotFinite

CALM = settings(derandomize=True, deadline=None)  # the same examples on every machine, however busy
LOW, HIGH = -2048, 2047
LENGTH = 4000


def record(amplitude, offset=0.0, *, noise=0.3, seed=1, cycles=17):
    angle = 2 * np.pi * cycles * np.arange(LENGTH) / LENGTH + 0.4
    return amplitude * np.sin(angle) + offset + np.random.default_rng(seed).normal(0.0, noise, LENGTH)


def digitised(volts, ratio=1):
    """What a device sends: codes of the converter, multiplied, saturating at the rails."""
    codes = np.clip(np.round(volts), LOW, HIGH) * ratio
    return np.clip(codes, LOW, HIGH).astype(np.int16)


def check(codes, **changes):
    limits = {"low_code": LOW, "high_code": HIGH, "fill_low": 0.5, "fill_high": 0.9, "amplitude_code": None}
    return check_quality(codes, **limits | changes)


def test_sound_record_has_no_reason():
    quality = check(digitised(record(1536.0)), amplitude_code=1536.0)
    assert (quality.railed, quality.code_spacing, quality.clipped, quality.underfilled, quality.reason) == (
        0,
        1,
        False,
        False,
        "",
    )
    assert quality.fill_ratio == pytest.approx(0.75, abs=0.001)


@pytest.mark.parametrize("rail", [LOW, HIGH])
def test_one_sample_at_a_rail_is_a_clip(rail):
    codes = digitised(record(1536.0))
    codes[77] = rail
    quality = check(codes)
    assert quality.railed == 1
    assert quality.clipped
    assert "clipped: 1 of 4000 samples at a rail" in quality.reason
    assert "rails -2048 and 2047" in quality.reason


def test_next_to_the_rail_is_no_clip():
    codes = digitised(record(1536.0))
    codes[77], codes[78] = LOW + 1, HIGH - 1
    assert not check(codes, fill_high=1.0).clipped


@pytest.mark.parametrize("top", [2046, 2047])
def test_doubled_codes_rail_at_either_top(top):
    codes = np.clip(digitised(record(1100.0), ratio=2), -2046, top).astype(np.int16)
    codes[codes >= 2046] = top
    quality = check(codes)
    assert quality.clipped
    assert quality.railed == np.count_nonzero(codes == top)


def test_doubled_codes_inside_the_rails_are_sound():
    quality = check(digitised(record(768.0), ratio=2))
    assert (quality.code_spacing, quality.clipped, quality.reason) == (2, False, "")


def test_few_far_codes_are_not_taken_for_a_grid():
    codes = np.tile(np.array([-1500, 0, 1500], dtype=np.int16), 100)
    quality = check(codes)
    assert (quality.code_spacing, quality.railed) == (1500, 0)


def test_flat_top_before_the_converter_is_a_clip():
    limited = np.clip(record(2100.0, noise=0.0), -1900.0, 1900.0)
    codes = digitised(limited + np.random.default_rng(2).normal(0.0, 0.2, LENGTH))
    amplitude = fit_sine3(codes, sample_rate_hz=float(LENGTH), frequency_hz=17.0).amplitude_code
    for given_amplitude in (None, amplitude):
        quality = check(digitised(limited), amplitude_code=given_amplitude)
        assert quality.clipped
        assert "flat top" in quality.reason
        assert "is above 0.900" in quality.reason


@pytest.mark.parametrize("seed", range(20))
def test_high_fill_without_a_flat_top_is_sound(seed):
    for noise in (0.0, 0.3, 2.0):
        codes = digitised(record(1930.0, noise=noise, seed=seed))
        quality = check(codes, amplitude_code=1930.0)
        assert quality.fill_ratio > 0.9
        assert (quality.clipped, quality.reason) == (False, "")


def test_low_fill_says_the_numbers():
    quality = check(digitised(record(400.0)))
    assert quality.underfilled
    assert not quality.clipped
    assert "underfilled: fill 0.19" in quality.reason
    assert "is below 0.500" in quality.reason


def test_dead_channel_at_a_rail_is_both():
    quality = check(np.full(100, HIGH, dtype=np.int16))
    assert quality.clipped
    assert quality.underfilled
    assert quality.railed == 100
    assert "; underfilled" in quality.reason


def test_wide_open_fill_limits_leave_only_the_rails():
    assert check(digitised(record(3.0)), fill_low=0.0, fill_high=1.0).reason == ""


def test_sixteen_bit_codes_do_not_overflow():
    codes = np.array([-32768, 0, 1, 32767], dtype=np.int16)
    quality = check(codes, low_code=-32768, high_code=32767)
    assert quality.fill_ratio == pytest.approx(65535 / 65536)
    assert (quality.railed, quality.code_spacing) == (2, 1)


@pytest.mark.parametrize(
    ("codes", "spacing"),
    [
        ([], 1),
        ([5], 1),
        ([4, 4, 4], 1),
        ([4, 8], 1),
        ([4, 8, 12], 4),
        ([4, 8, 14], 2),
        ([-3, 0, 3, 9], 3),
        ([-2048, 2046, 0], 2),
        ([-2048, 2047, 0], 1),
    ],
)
def test_code_spacing_of_small_sets(codes, spacing):
    assert code_spacing(np.array(codes, dtype=np.int16)) == spacing


@CALM
@given(
    step=st.integers(1, 9),
    start=st.integers(-2000, 2000),
    multiples=st.sets(st.integers(-1000, 1000), min_size=3, max_size=40),
)
def test_code_spacing_is_the_gcd_of_the_differences(step, start, multiples):
    codes = np.array([start + step * multiple for multiple in sorted(multiples)], dtype=np.int16)
    expected = math.gcd(*(int(code) - int(codes[0]) for code in codes))
    assert code_spacing(codes) == expected
    assert code_spacing(np.repeat(codes[::-1], 3)) == expected


def test_empty_record_is_refused():
    with pytest.raises(FitFailed, match="record is empty; allowed is one sample or more"):
        check(np.array([], dtype=np.int16))


def test_swapped_rails_are_refused():
    with pytest.raises(FitFailed, match=r"low_code 2047 and high_code -2048; allowed is low_code < high_code"):
        check(digitised(record(1500.0)), low_code=HIGH, high_code=LOW)


@pytest.mark.parametrize("name", ["fill_low", "fill_high", "amplitude_code"])
def test_limits_that_are_no_numbers_are_refused(name):
    with pytest.raises(NotFinite, match=f"{name} is nan; allowed is a finite number"):
        check(digitised(record(1500.0)), **{name: math.nan})
