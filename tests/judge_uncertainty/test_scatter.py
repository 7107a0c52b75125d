"""How well a scatter is known: the table of the GUM, the chi-square and F distributions, exact sums, drawing."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter
from scipy.stats import chi2, f, norm

from harness.errors import NotFinite
from harness.judge.uncertainty import (
    added_variance_interval,
    deviation_ratio,
    rounding_of_deviation_code,
    scatter_dof,
)

K2 = 0.954499736103642


@pytest.mark.parametrize(
    ("observations", "percent"), [(2, 76), (3, 52), (4, 42), (5, 36), (10, 24), (20, 16), (30, 13), (50, 10)]
)
def test_a_standard_deviation_of_few_observations(observations, percent):
    # JCGM 100:2008, table E.1.
    assert round(100.0 * deviation_ratio(observations - 1)) == percent


def test_a_standard_deviation_of_many_observations():
    # Moments of the chi distribution by the gamma function, and 1/sqrt(2 nu) in the end.
    assert deviation_ratio(99_999.0) == pytest.approx(1.0 / math.sqrt(2.0 * 99_999.0), rel=1e-5)
    assert deviation_ratio(100_001.0) == pytest.approx(deviation_ratio(99_999.0), rel=2e-5)
    assert deviation_ratio(math.inf) == 0.0
    with pytest.raises(NotFinite, match=r"degrees of freedom are 0\.5"):
        deviation_ratio(0.5)


@pytest.mark.parametrize(("previous", "draws"), [(0.0, 400), (0.5, 400), (0.9, 800)])
def test_samples_that_hang_together_count_for_less(previous, draws):
    # Autoregressive noise, correlations previous**k: sum of squares (1 + a^2)/(1 - a^2) in closed form.
    rng = np.random.default_rng(3)
    records = lfilter([1.0], [1.0, -previous], rng.standard_normal((draws, 2200)))[:, 200:]
    dof = [scatter_dof(record) for record in records[:50]]
    square = previous**2
    assert np.mean(dof) == pytest.approx(2000.0 * (1.0 - square) / (1.0 + square), rel=0.05)
    # What they say of the scatter of a standard deviation is what it scatters by: sampling leaves 1/sqrt(2 draws).
    deviations = records.std(axis=1, ddof=1)
    seen = deviations.std(ddof=1) / deviations.mean()
    assert seen == pytest.approx(deviation_ratio(float(np.mean(dof))), rel=3.5 / math.sqrt(2.0 * draws))


def test_a_record_that_never_moves_or_is_one_sine_has_a_dof():
    assert scatter_dof(np.full(100, 7.0)) == 99.0
    hum = np.sin(2.0 * np.pi * np.arange(4000) / 400.0)
    # One line: correlations (1 - k/n)·cos(2 pi k/400) over 63 lags, less what chance would make of each square.
    lags = np.arange(1, 64)
    shared = np.sum(((1.0 - lags / 4000.0) * np.cos(2.0 * np.pi * lags / 400.0)) ** 2) - 63.0 / 4000.0
    assert scatter_dof(hum) == pytest.approx(3999.0 / (1.0 + 2.0 * shared), rel=0.02)
    with pytest.raises(NotFinite, match="samples is 1"):
        scatter_dof(np.array([1.0]))


def rounded_deviation(noise, mean):
    """Exact: probabilities of the codes by the normal distribution."""
    codes = np.arange(-9, 10)
    size = max(noise, 1e-9)
    share = norm.cdf((codes + 0.5 - mean) / size) - norm.cdf((codes - 0.5 - mean) / size)
    centre = share @ codes
    return math.sqrt(max(share @ (codes - centre) ** 2, 0.0))


def test_rounding_pulls_a_standard_deviation_no_farther_than_said():
    tightest = 0.0
    for noise in np.linspace(0.0, 1.2, 41):
        for mean in np.linspace(0.0, 0.5, 11):
            seen = rounded_deviation(noise, mean)
            off, said = abs(seen - math.sqrt(noise**2 + 1.0 / 12.0)), rounding_of_deviation_code(seen)
            assert off <= said + 1e-6, (noise, mean)
            tightest = max(tightest, off / said if said > 0.01 else 0.0)
    # And it is no empty bound: somewhere nearly all of it is needed.
    assert tightest > 0.9
    assert rounding_of_deviation_code(3.0) == 0.0
    with pytest.raises(NotFinite, match="deviation_code is -1"):
        rounding_of_deviation_code(-1.0)


def test_added_scatter_beside_none_is_a_chi_square_interval():
    low, high = added_variance_interval(0.0, 4.0, dof=(9.0, 12.0), probability_ratio=0.9)
    assert low == pytest.approx(4.0 * 12.0 / chi2.ppf(0.95, 12), rel=1e-9)
    assert high == pytest.approx(4.0 * 12.0 / chi2.ppf(0.05, 12), rel=1e-9)
    low, high = added_variance_interval(4.0, 0.0, dof=(9.0, 12.0), probability_ratio=0.9)
    assert -high == pytest.approx(4.0 * 9.0 / chi2.ppf(0.95, 9), rel=1e-9)


def test_the_lower_bound_is_zero_where_the_f_test_turns():
    edge = f.ppf(0.975, 12, 9)
    for ratio, sign in ((edge, 0.0), (1.01 * edge, 1.0), (0.99 * edge, -1.0)):
        low, _ = added_variance_interval(1.0, ratio, dof=(9.0, 12.0), probability_ratio=0.95)
        assert low == pytest.approx(0.0, abs=1e-9) if sign == 0.0 else low * sign > 0.0


@pytest.mark.parametrize("added", [0.0, 0.3, 3.0, 1e4])
def test_the_interval_of_added_scatter_holds_the_truth(added):
    rng = np.random.default_rng(11)
    draws = 1500
    without, toggled = rng.chisquare(9, draws) / 9.0, (1.0 + added) * rng.chisquare(9, draws) / 9.0
    ends = [
        added_variance_interval(one, other, dof=(9.0, 9.0), probability_ratio=K2)
        for one, other in zip(without.tolist(), toggled.tolist(), strict=True)
    ]
    held = sum(low <= added <= high for low, high in ends)
    # 95.45 percent of 1500; four standard deviations of the binomial are 2.2 percent.
    assert held / draws >= 0.935
    assert sum(low > added for low, _ in ends) / draws <= 0.035


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"without": -1.0}, "a variance is -1.0"),
        ({"dof": (0.0, 9.0)}, "dof is 0.0"),
        ({"probability_ratio": 1.0}, "probability_ratio is 1.0"),
    ],
)
def test_an_interval_of_nonsense_is_refused(change, said):
    known = {"without": 1.0, "added_to": 2.0, "dof": (9.0, 9.0), "probability_ratio": 0.95, **change}
    with pytest.raises(NotFinite, match=said):
        added_variance_interval(**known)
