"""Frequency plans: whole cycles, prime to the samples, clear of hum."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.amplitude import plan_frequency
from harness.errors import NotFinite

CALM = settings(derandomize=True, deadline=None)


def plan(wanted_hz=2000.0, **changes):
    return plan_frequency(**{"sample_rate_hz": 500e3, "samples": 10_000, "wanted_hz": wanted_hz} | changes)


@CALM
@given(
    samples=st.integers(1000, 60_000),
    rate_hz=st.floats(1e4, 1e6),
    wanted_ratio=st.floats(0.002, 0.2),
    clearance_hz=st.floats(0.0, 8.0),
)
def test_found_plans_keep_every_rule(samples, rate_hz, wanted_ratio, clearance_hz):
    found = plan_frequency(
        sample_rate_hz=rate_hz, samples=samples, wanted_hz=wanted_ratio * rate_hz, clearance_hz=clearance_hz
    )
    if found.cycles is None:
        assert found.frequency_hz is None
        assert "change the number of samples" in found.reason
        return
    assert found.reason == ""
    assert found.cycles % 2 == 1
    assert math.gcd(found.cycles, samples) == 1
    assert found.frequency_hz == pytest.approx(found.cycles * rate_hz / samples, rel=1e-15)
    for line_hz in (50.0, 60.0):
        hum_hz = np.arange(line_hz, 2000.0 + 1e-9, line_hz)
        assert np.abs(found.frequency_hz - hum_hz).min() >= clearance_hz
    assert abs(samples / found.cycles - round(samples / found.cycles)) >= 0.05


def test_plan_visits_as_many_phases_as_samples():
    found = plan()
    assert len({found.cycles * index % 10_000 for index in range(10_000)}) == 10_000


def test_nearest_good_number_is_taken():
    # 40 cycles are even, 39 and 41 odd; 10 000 / 39 = 256.4 fits, 1950 Hz = 39·50 Hz does not, 2050 is above 2 kHz.
    assert plan().cycles == 41
    assert plan(avoid_hz=(), wanted_hz=1990.0).cycles == 39


def test_reason_names_what_stood_in_the_way():
    # 1 cycle divides the rate, 2 and 4 are even, 3 and 5 divide the 15 samples.
    found = plan(samples=15, wanted_hz=500e3 / 15, avoid_hz=())
    assert found.cycles is None
    for part in (
        "of 1 to 5 cycles",
        "2 even",
        "1 near a sub-multiple of the sample rate",
        "2 not prime to the samples",
    ):
        assert part in found.reason
    assert "with 15 samples at 500000 Hz" in found.reason
    hum = plan(sample_rate_hz=1000.0, samples=100, wanted_hz=50.0, clearance_hz=40.0)
    assert hum.cycles is None
    assert "near a mains harmonic" in hum.reason


def test_sub_multiples_of_the_rate_are_refused():
    # 3333 of 10 001 samples are 3.0006 a cycle: neighbouring cycles see the same phases.
    found = plan(samples=10_001, wanted_hz=500e3 / 3, avoid_hz=())
    assert abs(10_001 / found.cycles - 3) >= 0.05


def test_high_frequencies_stop_below_half_the_rate():
    found = plan(samples=9, wanted_hz=249e3)
    assert found.cycles is None or 2 * found.cycles < 9
    assert "half the sample rate" in plan(samples=8, wanted_hz=1e6).reason


@pytest.mark.parametrize("bad", [math.nan, 0.0, -1.0, math.inf])
@pytest.mark.parametrize("name", ["sample_rate_hz", "wanted_hz"])
def test_numbers_must_be_positive(name, bad):
    with pytest.raises(NotFinite, match=f"frequency plan: {name} is .*allowed is a positive finite number"):
        plan(**{name: bad})


def test_mains_record_and_clearance_are_checked():
    with pytest.raises(NotFinite, match=r"avoid_hz\[1\] is 0\.0"):
        plan(avoid_hz=(50.0, 0.0))
    with pytest.raises(NotFinite, match=r"7 samples and clearance_hz 5\.0; allowed are 8 samples or more"):
        plan(samples=7)
    with pytest.raises(NotFinite, match=r"clearance_hz -1\.0; allowed are 8 samples or more and a clearance from 0 up"):
        plan(clearance_hz=-1.0)
