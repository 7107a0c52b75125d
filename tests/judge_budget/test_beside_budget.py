"""U of readings beside the ladder: what two readings share cancels, what they do not share does not."""

import dataclasses
import math

import numpy as np
import pytest

from harness.judge.gain_budget import BesideBudget, Heard
from harness.judge.gain_budget.beside import CIRCLE_FACTOR
from tests.judge_budget.test_gain_budget import ROOT3, item, noise_percent, statement

RANGED = {"range": {"percent": 0.2}, "range_ends_vpk": [0.5]}
DEVICE = {
    "inl_lsb": 0.5, "compression_percent": 0.04, "temperature_ppm_per_k": 50.0,
    "repeatability": {"percent": 0.03, "distribution": "normal", "factor": 1.0},
}  # fmt: skip


def low_high(*, levels=(0.25, 0.5), amplitudes=(800.0, 1600.0)):
    return tuple(
        item(0, level_vpk=level, amplitude_code=amplitude, readings=1)
        for level, amplitude in zip(levels, amplitudes, strict=True)
    )


def with_aggressor(stated):
    """0.3 percent on the driven channel, rectangular, like the source's reading."""
    bench = stated.bench.model_copy(update={"aggressor": stated.bench.source.reading})
    return dataclasses.replace(stated, bench=bench)


def single(amplitude):
    """Fit noise and non-linearity of one record."""
    noise = noise_percent(amplitude=amplitude, readings=1)
    return math.hypot(noise, 100.0 * 0.5 / (2.0 * amplitude) / ROOT3)


def test_two_levels_of_one_source_range_share_all_but_the_records():
    budget = BesideBudget(
        statement=statement(source=RANGED, device=DEVICE, pad={"db": 0.02}, temperature_k=2.0, pad_db=20.0)
    )
    low, high = low_high()
    own = math.hypot(single(800.0), single(1600.0))
    # 3997 degrees of freedom behind the noise: Student's factor is 2.0003.
    assert budget.pair_expanded_percent(low, high, kept=True, bent=True) == pytest.approx(2.0 * own, rel=1e-3)
    # Compression is one curve: both levels sit on it, and only its difference is in doubt.
    curve = 0.04 * ((3200.0 / 4096.0) ** 2 - (1600.0 / 4096.0) ** 2) / ROOT3
    assert budget.pair_expanded_percent(low, high, kept=True) == pytest.approx(2.0 * math.hypot(own, curve), rel=1e-3)
    # A setting that is left in between repeats only as well as it does.
    repeated = math.hypot(own, math.sqrt(2.0) * 0.03)
    assert budget.pair_expanded_percent(low, high, kept=False, bent=True) == pytest.approx(2.0 * repeated, rel=1e-3)


def test_two_levels_in_two_ranges_of_the_source_keep_the_error_of_both():
    budget = BesideBudget(statement=statement(source=RANGED, device=DEVICE))
    low, high = low_high(levels=(0.4, 0.8))
    own = math.hypot(single(800.0), single(1600.0), math.sqrt(2.0) * 0.2 / ROOT3)
    assert budget.pair_expanded_percent(low, high, kept=True, bent=True) == pytest.approx(2.0 * own, rel=1e-3)


def test_a_run_that_repeats_worse_than_stated_counts_with_its_own_scatter():
    ladder = tuple(item(place, up_down_percent=0.1 * (-1.0) ** place) for place in range(10))
    budget = BesideBudget(statement=statement(device=DEVICE), ladder=ladder)
    low, high = low_high()
    # Ten pairs that differ by 0.1: a reading repeats to 0.1/sqrt 2, with ten degrees of freedom; Student's factor 2.28.
    own = math.hypot(single(800.0), single(1600.0))
    found = budget.pair_expanded_percent(low, high, kept=False, bent=True)
    assert found == pytest.approx(2.28 * math.hypot(own, 0.1), rel=0.02)


def test_across_frequencies_the_response_of_the_source_counts_once():
    low, high = low_high(levels=(0.5, 0.5), amplitudes=(1500.0, 1500.0))
    silent = BesideBudget(statement=statement(source=RANGED, device=DEVICE))
    assert silent.pair_expanded_percent(low, high, kept=True, across=True) is None
    told = BesideBudget(statement=statement(source={**RANGED, "second_frequency": {"percent": 0.3}}, device=DEVICE))
    own = math.hypot(single(1500.0), single(1500.0), 0.3 / ROOT3)
    assert told.pair_expanded_percent(low, high, kept=True, across=True) == pytest.approx(2.0 * own, rel=1e-3)


def test_nothing_is_made_up_where_nothing_is_stated():
    low, high = low_high()
    heard = Heard(amplitude_code=8.0, residual_code=3.0, samples=4000, driven_code=1600.0)
    assert BesideBudget(statement=None).pair_expanded_percent(low, high, kept=False) is None
    assert BesideBudget(statement=None).heard_expanded_percent(heard) is None
    assert BesideBudget(statement=statement()).heard_expanded_percent(heard) is None


def test_pairs_against_drawn_sources():
    """Common and range errors drawn, records with their own noise: the interval holds as often as it says."""
    rng = np.random.default_rng(5)
    draws, noise_code, samples = 4000, 0.8, 4000
    budget = BesideBudget(statement=statement(source=RANGED))
    for levels, apart in (((0.25, 0.5), False), ((0.4, 0.8), True)):
        low, high = low_high(levels=levels)
        common = rng.uniform(-0.3, 0.3, draws)
        first = rng.uniform(-0.2, 0.2, draws)
        second = rng.uniform(-0.2, 0.2, draws) if apart else first
        spread = [
            100.0 * noise_code * math.sqrt(2.0 / samples) / amplitude * rng.standard_normal(draws)
            for amplitude in (800.0, 1600.0)
        ]
        errors = (common + second + spread[1]) - (common + first + spread[0])
        held = np.mean(np.abs(errors) <= budget.pair_expanded_percent(low, high, kept=True, bent=True))
        # Two equal rectangles make a triangle: k = 2 holds 96.6 percent of it; the binomial leaves 1.3 percent.
        assert held == pytest.approx(0.966 if apart else 0.9545, abs=0.013)


def test_a_pair_against_the_reference_library():
    gtc = pytest.importorskip("GTC")
    budget = BesideBudget(statement=statement(source={**RANGED, "second_frequency": {"percent": 0.05}}))
    low, high = low_high(levels=(0.4, 0.8))
    common, response = gtc.ureal(0.0, 0.3 / ROOT3), gtc.ureal(0.0, 0.05 / ROOT3)
    ranges = [gtc.ureal(0.0, 0.2 / ROOT3) for _ in range(2)]
    noises = [gtc.ureal(0.0, noise_percent(amplitude=a, readings=1), 3997) for a in (800.0, 1600.0)]
    gains = [gtc.exp((common + r + n) / 100) for r, n in zip(ranges, noises, strict=True)]
    ratio = 100 * gtc.log(gains[1] / gains[0]) + response
    found = budget.pair_expanded_percent(low, high, kept=True, bent=True, across=True)
    assert found == pytest.approx(2.0 * gtc.uncertainty(ratio), rel=1e-3)


@pytest.mark.parametrize("amplitude", [0.0, 0.1, 8.0])
def test_crosstalk_against_drawn_noise(amplitude):
    """An amplitude is never negative: near 0 it is biased, and the circle holds it all the same."""
    budget = BesideBudget(statement=with_aggressor(statement()))
    rng = np.random.default_rng(9)
    draws, noise, samples, driven = 4000, 3.0, 4000, 1600.0
    size = noise * math.sqrt(2.0 / samples)
    scale = 1.0 + rng.uniform(-0.003, 0.003, draws)
    seen = np.hypot(amplitude + size * rng.standard_normal(draws), size * rng.standard_normal(draws)) * scale
    heard = Heard(
        amplitude_code=amplitude, residual_code=math.hypot(noise, 1.0 / math.sqrt(12.0)), samples=samples,
        driven_code=driven,
    )  # fmt: skip
    held = np.mean(100.0 * np.abs(seen - amplitude) / driven <= budget.heard_expanded_percent(heard))
    assert held >= 0.94
    if amplitude == 0.0:
        # Rayleigh: the chance to lie outside of the circle is exp(-r^2/2), in closed form that of k = 2.
        assert held == pytest.approx(0.9545, abs=0.013)
        assert math.exp(-(CIRCLE_FACTOR**2) / 2.0) == pytest.approx(1.0 - 0.9544997, rel=1e-5)


def test_a_quiet_record_may_hide_half_a_code():
    budget = BesideBudget(statement=with_aggressor(statement()))
    heard = Heard(amplitude_code=0.0, residual_code=0.0, samples=4000, driven_code=1000.0)
    # Half a code of 1000, rectangular.
    assert budget.heard_expanded_percent(heard) == pytest.approx(2.0 * 0.05 / ROOT3, rel=0.01)
