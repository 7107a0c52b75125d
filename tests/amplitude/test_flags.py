"""Flags of a record: clip before the converter, few cycles, stale, too quiet."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.amplitude import clip_before_converter, low_noise, stale_record, too_few_cycles
from harness.amplitude.flags import quiet_level
from harness.errors import FitFailed, NotFinite

LENGTH, CYCLES = 10_000, 37
ANGLE = 2 * np.pi * CYCLES * np.arange(LENGTH) / LENGTH + 0.4


def codes(amplitude=1500.0, *, limit=1e9, noise=0.4, seed=1, bend=0.0):
    clean = np.clip(amplitude * np.sin(ANGLE), -limit, limit)
    clean = clean - bend * clean**3
    return np.rint(clean + np.random.default_rng(seed).normal(0.0, noise, LENGTH)).astype(np.int16)


def clip(record):
    return clip_before_converter(record, sample_rate_hz=float(LENGTH), frequency_hz=float(CYCLES))


@pytest.mark.parametrize("seed", range(20))
def test_sound_record_raises_no_flag(seed):
    assert clip(codes(seed=seed)) == ()


def test_limited_top_is_named_twice():
    # A sine clipped at 1/1.1 of its peak: third harmonic about -31 dB, flat for 27 % of the time.
    flags = clip(codes(1650.0, limit=1500.0))
    assert [(flag.name, flag.severity) for flag in flags] == [("third-harmonic", "flag"), ("flat-top", "invalid")]
    assert "allowed is -40 dB" in flags[0].reason
    assert "samples within 15 codes of a peak where a sine leaves 451" in flags[1].reason
    assert "lower the level" in flags[1].reason


def test_compression_without_a_flat_top_is_only_a_flag():
    # Third harmonic of x - b·x³: b·A²/4 of the signal; 1.6 % is -36 dB.
    flags = clip(codes(bend=4 * 0.016 / 1500.0**2))
    assert [(flag.name, flag.severity) for flag in flags] == [("third-harmonic", "flag")]
    assert "third harmonic -35" in flags[0].reason or "third harmonic -36" in flags[0].reason
    assert clip(codes(bend=4 * 0.008 / 1500.0**2)) == ()


def test_noise_alone_is_no_harmonic():
    assert clip(codes(2.0, noise=3.0)) == ()


def test_record_that_cannot_be_fitted_is_refused():
    with pytest.raises(FitFailed, match="cannot be told apart"):
        clip_before_converter(codes(), sample_rate_hz=4.0 * CYCLES, frequency_hz=float(CYCLES))


def test_cycles_are_counted():
    assert too_few_cycles(samples=10_000, sample_rate_hz=1e6, frequency_hz=1000.0) is None
    few = too_few_cycles(samples=5_000, sample_rate_hz=1e6, frequency_hz=1000.0)
    assert (few.name, few.severity) == ("too-few-cycles", "flag")
    assert "5 cycles of 1000 Hz in the record; allowed are 10 or more" in few.reason
    assert too_few_cycles(samples=500, sample_rate_hz=1e6, frequency_hz=1000.0).severity == "invalid"


@pytest.mark.parametrize("name", ["sample_rate_hz", "frequency_hz"])
def test_cycles_want_numbers(name):
    with pytest.raises(NotFinite, match=f"cycles: {name} is nan; allowed is a positive finite number"):
        too_few_cycles(**{"samples": 100, "sample_rate_hz": 1e6, "frequency_hz": 1e3} | {name: math.nan})


def test_stale_record_is_the_previous_one():
    first = codes(seed=1)
    assert stale_record(first, codes(seed=2)) is None
    assert stale_record(first, first[:-1]) is None
    flag = stale_record(first.copy(), first)
    assert (flag.name, flag.severity) == ("stale-record", "invalid")
    assert "all 10000 codes equal the previous record" in flag.reason
    dead = np.zeros(100, dtype=np.int16)
    assert stale_record(dead, dead.copy()).severity == "flag"


def test_empty_records_are_refused():
    with pytest.raises(FitFailed, match="stale record: 0 and 1 samples"):
        stale_record(np.zeros(0, dtype=np.int16), np.zeros(1, dtype=np.int16))


def test_quiet_record_says_how_wrong_it_may_be():
    # Without noise an amplitude of 3 codes reads +2.06 % (exact series), near it up to some 8 %.
    flag = low_noise(residual_code=math.sqrt(1 / 12), amplitude_code=3.0)
    assert (flag.name, flag.severity) == ("low-noise", "flag")
    assert "noise 0.00 code steps" in flag.reason
    assert "a mean by 0.5 codes" in flag.reason
    assert low_noise(residual_code=math.sqrt(1 / 12 + 0.3001**2), amplitude_code=3.0) is None


def test_quiet_flag_wants_numbers():
    with pytest.raises(NotFinite, match=r"residual_code is -1\.0; allowed is a finite number, not negative"):
        low_noise(residual_code=-1.0, amplitude_code=3.0)
    with pytest.raises(NotFinite, match="low noise: amplitude_code is nan"):
        low_noise(residual_code=0.5, amplitude_code=math.nan)


def test_a_steady_level_wants_a_noise_that_is_a_number():
    with pytest.raises(NotFinite, match=r"quiet level: noise_code is -0\.1; allowed is a finite number, not negative"):
        quiet_level(-0.1)
