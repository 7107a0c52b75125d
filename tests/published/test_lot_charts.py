"""Capability, weighted means and rules of zones against published numbers, each with its source."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from harness.errors import NotFinite
from harness.judge.decision import share_interval
from harness.judge.gauge.ewma import WEIGHT_RATIO, WIDTH
from harness.judge.lot import capability, ewma_run_length, zones_run_length

EXAMPLES = tomllib.loads((Path(__file__).parent / "data" / "statistics-examples.toml").read_text("utf-8"))


def test_capability_of_the_handbook():
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6.
    table = EXAMPLES["capability_indices"]
    given, expected = table["inputs"], table["expected"]
    found = capability(given["mean"], given["s"], 50, low=given["lsl"], high=given["usl"])
    assert found.cp == pytest.approx(expected["Cp"], abs=table["tolerance"])
    assert found.cpk == pytest.approx(expected["Cpk"], abs=table["tolerance"])
    upper = capability(given["mean"], given["s"], 50, low=None, high=given["usl"])
    lower = capability(given["mean"], given["s"], 50, low=given["lsl"], high=None)
    assert upper.cpk == pytest.approx(expected["Cpu"], abs=table["tolerance"])
    assert lower.cpk == pytest.approx(expected["Cpl"], abs=table["tolerance"])
    assert upper.cp is None


def test_intervals_of_capability():
    # Montgomery, Introduction to Statistical Quality Control, examples 8.4 and 8.5, from memory; calculated again.
    table = EXAMPLES["capability_interval"]
    cp, cpk = table["Cp_n_20"], table["Cpk_n_20"]
    found = capability(50.0, cp["s"], 20, low=cp["lsl"], high=cp["usl"])
    assert (found.cp, *found.cp_interval) == pytest.approx(cp["calculated"], rel=table["tolerance_relative"])
    # The printed numbers have two decimals.
    assert (found.cp, *found.cp_interval) == pytest.approx(cp["printed"], abs=0.0051)
    found = capability(0.0, 1.0 / 3.0, 20, low=None, high=cpk["Cpk"])
    # The formula there takes 1.96 for the quantile 1.959964: 1.8e-5 of the half width.
    assert found.cpk_interval == pytest.approx(cpk["calculated"], abs=2e-5 * 0.45)


def test_interval_of_a_usual_gate():
    table = EXAMPLES["capability_interval_1_33"]
    for count, low, high in zip(table["n"], table["low"], table["high"], strict=True):
        found = capability(0.0, 1.0 / 3.0, count, low=-1.33, high=1.33)
        assert found.cpk_interval == pytest.approx((low, high), abs=table["tolerance"])


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"low": None, "high": None}, "capability: limits are None and None; allowed is one finite limit, or low <"),
        ({"low": 2.0, "high": 1.0}, "capability: limits are 2.0 and 1.0"),
        ({"deviation": 0.0}, "capability: deviation is 0.0; allowed is a finite number > 0"),
        ({"count": 1}, "capability: count is 1.0; allowed is a finite number >= 2"),
        ({"mean": float("nan")}, "capability: mean is nan"),
    ],
)
def test_what_capability_refuses(change, said):
    given = {"mean": 0.0, "deviation": 1.0, "count": 9, "low": -1.0, "high": 1.0} | change
    limits = {key: given.pop(key) for key in ("low", "high")}
    with pytest.raises(NotFinite) as caught:
        capability(*given.values(), **limits)
    assert str(caught.value).startswith(said)


def test_run_lengths_of_weighted_means():
    # Lucas and Saccucci, Technometrics 32 (1990), as in Montgomery's table of run lengths, from memory: shift in
    # deviations down, (lambda, L) across; printed to three digits.
    columns = [(0.4, 3.054), (0.25, 2.998), (0.2, 2.962), (0.1, 2.814), (0.05, 2.615)]
    printed = {0.0: (500, 500, 500, 500, 500), 0.25: (224, 170, 150, 106, 84.1), 0.5: (71.2, 48.2, 41.8, 31.3, 28.8),
               1.0: (14.3, 11.1, 10.5, 10.3, 11.4)}  # fmt: skip
    for shift, row in printed.items():
        for (weight, width), length in zip(columns, row, strict=True):
            # The third digit: half of it is at most 0.5 %.
            assert ewma_run_length(weight, width, shift=shift) == pytest.approx(length, rel=0.005)


def test_run_lengths_of_zone_rules():
    # Champ and Woodall, Technometrics 29 (1987), table 1, from memory, two decimals.
    printed = {(0, 0, 0): 370.40, (1, 0, 0): 225.44, (0, 1, 0): 166.05, (0, 0, 1): 152.73, (1, 1, 0): 132.89,
               (1, 1, 1): 91.75}  # fmt: skip
    for rules, length in printed.items():
        names = dict(zip(("two_of_three", "four_of_five", "eight"), map(bool, rules), strict=True))
        assert zones_run_length(**names) == pytest.approx(length, abs=0.0051)


def test_run_lengths_as_simulated():
    table = EXAMPLES["chart_run_lengths"]
    rules = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1), (1, 1, 1)]
    for key, shift in (("arl_no_shift", 0.0), ("arl_shift_1_sigma", 1.0), ("arl_shift_0p5_sigma", 0.5)):
        found = [
            zones_run_length(two_of_three=bool(two), four_of_five=bool(four), eight=bool(side), shift=shift)
            for two, four, side in rules
        ]
        found.append(ewma_run_length(WEIGHT_RATIO, WIDTH, shift=shift))
        # Simulated and printed as whole numbers.
        assert found == pytest.approx(table[key], rel=table["tolerance_relative"], abs=0.5)


def test_bounds_of_a_share_against_an_independent_solution():
    # Clopper and Pearson's bounds by their definition: the binomial tails of scipy at each bound are half the rest.
    from scipy.stats import binom, binomtest

    for events, trials in ((0, 30), (3, 30), (970, 1000), (99_500, 100_000)):
        low, high = share_interval(events, trials=trials)
        independent = binomtest(events, trials).proportion_ci(0.95, method="exact")
        assert (low, high) == pytest.approx((independent.low, independent.high), abs=1e-10)
        assert binom.cdf(events, trials, high) == pytest.approx(0.025, rel=1e-6)


def test_a_process_without_shift_alarms_as_often_as_stated():
    from harness.judge.lot.chart import zone_alarms

    z = np.random.default_rng(5).normal(size=20_000)
    stated = len(z) / zones_run_length(two_of_three=True, four_of_five=True, eight=True)
    # Poisson count of about 218: four of its deviations.
    assert abs(zone_alarms(z) - stated) < 4 * stated**0.5
