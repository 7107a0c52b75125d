"""Gap shares against direct enumeration; visited codes against simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.judge.waveform import ROUNDINGS, double_share, gap_share, reach, see, spacing_of, visits
from tests.judge_waveform.synthetic import FREQUENCY_HZ, RATE_HZ, Unit, record

CALM = settings(derandomize=True, deadline=None, max_examples=60)


@CALM
@given(ratio=st.floats(1.0005, 6.0), low=st.integers(-4000, 0), origin=st.sampled_from([0, -2048]))
def test_gap_share_is_that_of_enumeration(ratio, low, origin):
    # Closed form 1 - 1/m against counting: at most two codes at the ends differ, and a pattern's beat of one gap.
    high = low + 8000
    for _, rounding in ROUNDINGS:
        empty = np.count_nonzero(reach(ratio, rounding, low=low, high=high, origin=origin) == 0)
        assert empty == pytest.approx(gap_share(ratio) * 8001, abs=3)


@CALM
@given(ratio=st.floats(0.51, 0.999), low=st.integers(-4000, 0))
def test_double_share_is_that_of_enumeration(ratio, low):
    sources = reach(ratio, np.rint, low=low, high=low + 8000)
    assert sources.min() >= 1
    assert np.count_nonzero(sources == 2) == pytest.approx(double_share(ratio) * 8001, abs=3)


def test_every_product_is_in_the_reached_codes():
    for ratio in (0.8, 1.0015, 1.25, 1.5, 2.5):
        for _, rounding in ROUNDINGS:
            products = rounding(ratio * np.arange(-900, 901)).astype(int)
            low, high = int(rounding(np.array([ratio * -800]))[0]), int(rounding(np.array([ratio * 800]))[0])
            counted = np.bincount(products[(products >= low) & (products <= high)] - low, minlength=high - low + 1)
            assert np.array_equal(counted, reach(ratio, rounding, low=low, high=high))


def test_shares_by_hand():
    assert gap_share(2.0) == 0.5
    assert gap_share(0.8) == 0.0
    assert double_share(0.8) == pytest.approx(0.25)
    assert reach(2.0, np.rint, low=-2, high=4).tolist() == [1, 0, 1, 0, 1, 0, 1]
    assert reach(0.5, np.floor, low=0, high=2).tolist() == [2, 2, 2]
    assert [name for name, _ in ROUNDINGS][:2] == ["half to even", "half up"]


@pytest.mark.parametrize("noise", [0.3, 1.0, 6.0])
def test_expected_visits_are_those_of_a_simulation(noise):
    rng = np.random.default_rng(31)
    mean = 80.0 * np.sin(2 * np.pi * 0.0371937 * np.arange(2000)) + 0.3
    expected = visits(mean, noise)
    counts = np.zeros(expected.hits.size)
    empties = np.zeros(expected.hits.size)
    trials = 400
    for _ in range(trials):
        codes = np.rint(mean + rng.normal(0.0, noise, mean.size)).astype(int) - expected.first
        one = np.bincount(codes[(codes >= 0) & (codes < counts.size)], minlength=counts.size)
        counts += one / trials
        empties += (one == 0) / trials
    assert expected.hits.sum() == pytest.approx(2000, abs=1)
    inside = expected.hits > 1.0
    assert counts[inside] == pytest.approx(expected.hits[inside], abs=6 * np.sqrt(expected.hits.max() / trials))
    assert empties == pytest.approx(expected.empty, abs=0.13)
    assert empties.sum() == pytest.approx(expected.empty.sum(), rel=0.05)


@pytest.mark.parametrize(
    ("arithmetic", "output"), [(1.0, "integer"), (1.25, "integer"), (2.5, "integer"), (3.0, "float")]
)
def test_spacing_is_the_arithmetic_factor(arithmetic, output):
    for seed in range(5):
        seen = see(
            record(Unit(dnl_lsb=0.3), np.random.default_rng(seed), gain=2e3, arithmetic=arithmetic, output=output)
        )
        spacing = spacing_of(seen)
        assert spacing.units == pytest.approx(arithmetic, rel=4 * spacing.u_ratio)
        assert spacing.u_ratio < 0.02


def test_spacing_of_lost_bits_is_the_coarser_grid():
    seen = see(record(Unit(lost_bits=2), np.random.default_rng(1), gain=2e3))
    assert seen.grid == 4.0
    assert spacing_of(seen).units == pytest.approx(4.0, rel=0.02)


def test_short_record_of_many_codes_has_no_spacing():
    rng = np.random.default_rng(1)
    assert spacing_of(see(record(Unit(bits=14), rng, gain=2e3, samples=2000))) is None
    few = see(record(Unit(), rng, gain=2e3, drive_vpk=5 / 2e3))
    assert spacing_of(few) is None
    assert math.floor(RATE_HZ / FREQUENCY_HZ) != RATE_HZ / FREQUENCY_HZ
