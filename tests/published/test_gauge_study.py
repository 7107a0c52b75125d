"""Gauge R&R, control chart and capability against the printed examples."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from harness.judge.gauge import (
    GaugeTable,
    anova_study,
    average_range_study,
    ewma,
    mean_range_ratio,
    single_range_ratio,
    type_one,
)

# Source: AIAG, Measurement Systems Analysis, 4th ed. (2010), Fig. III-B 6a: 10 parts, 3 appraisers, 3 trials.
DATA = Path(__file__).parent / "data" / "aiag-msa-grr.csv"


@pytest.fixture(scope="module")
def table():
    lines = (line for line in DATA.read_text("utf-8").splitlines() if not line.startswith("#"))
    cells: dict[tuple[str, str], list[float]] = {}
    for row in csv.DictReader(lines):
        cells.setdefault((row["part"], row["appraiser"]), []).append(float(row["value"]))
    return GaugeTable.of(cells)


def test_average_and_range_as_printed(table):
    study = average_range_study(table)
    # Source: same chapter, worked form; AV there is from X diff rounded to 0.4446, hence 2e-4 absolute.
    printed = {"ev": 0.20188, "av": 0.22963, "grr": 0.30575, "pv": 1.10456, "tv": 1.14610}
    for name, value in printed.items():
        assert getattr(study.spread, name) == pytest.approx(value, abs=2e-4), name
    assert study.mean_ranges == pytest.approx((0.184, 0.513, 0.328), abs=5e-4)
    assert (study.mean_range, study.between_parts) == pytest.approx((0.3417, 3.511), abs=5e-4)
    assert study.range_limit == pytest.approx(0.880, abs=1e-3)
    # B's readings of part 4 are 0.01, 1.03 and 0.20: a range of 1.02.
    assert study.above == (("4", "B"),)
    percents = [study.spread.percent(part) for part in (study.spread.ev, study.spread.av, study.spread.grr)]
    assert percents == pytest.approx([17.62, 20.04, 26.68], abs=0.01)
    assert study.spread.ndc == 5


def test_average_and_range_to_more_digits(table):
    study = average_range_study(table)
    # The same arithmetic without rounding between the steps, worked out apart from this code.
    assert study.between_appraisers == pytest.approx(0.444666667, rel=1e-6)
    assert study.spread.ev == pytest.approx(0.201856667, rel=1e-6)
    assert study.spread.av == pytest.approx(0.229667029, rel=1e-6)
    assert study.spread.grr == pytest.approx(0.305766346, rel=1e-6)
    assert study.spread.tv == pytest.approx(1.146134547, rel=1e-6)
    assert study.spread.ndc_ratio == pytest.approx(5.093692, rel=1e-6)


def test_analysis_of_variance_as_printed(table):
    found = anova_study(table)
    # Source: same chapter, ANOVA table: 3.167, 88.362, 0.359, 2.759, 94.647, F 0.434; further digits recomputed.
    assert found.ss_appraiser == pytest.approx(3.167262222, rel=1e-6)
    assert found.ss_part == pytest.approx(88.361934444, rel=1e-6)
    assert found.ss_interaction == pytest.approx(0.358982222, rel=1e-6)
    assert found.ss_repeat == pytest.approx(2.758933333, rel=1e-6)
    assert found.ss_total == pytest.approx(94.647112222, rel=1e-6)
    assert found.f_interaction == pytest.approx(0.433721030, rel=1e-6)
    assert found.p_interaction == pytest.approx(0.974106404, rel=1e-6)
    assert found.pooled
    # Source: same chapter, variances 0.0400, 0.0515, 0.0914, 1.086.
    variances = [part**2 for part in (found.spread.ev, found.spread.av, found.spread.grr, found.spread.pv)]
    assert variances == pytest.approx([0.0400, 0.0515, 0.0914, 1.086], abs=6e-4)
    assert found.spread.tv == pytest.approx(1.085299563, rel=1e-6)
    # The trap: 4 categories by this method, 5 by average and range, for the same data.
    assert found.spread.ndc == 4


# Source: AIAG MSA 4th ed., tables of K1 (2, 3 trials), K2 (2, 3 appraisers), K3 (2 to 10 parts).
@pytest.mark.parametrize(("size", "k1"), [(2, 0.8862), (3, 0.5908)])
def test_constants_of_trials(size, k1):
    assert 1.0 / mean_range_ratio(size) == pytest.approx(k1, abs=5e-5)


@pytest.mark.parametrize(
    ("size", "k"),
    [(2, 0.7071), (3, 0.5231), (4, 0.4467), (5, 0.4030), (6, 0.3742), (7, 0.3534), (8, 0.3375), (9, 0.3249),
     (10, 0.3146)],
)  # fmt: skip
def test_constants_of_appraisers_and_parts(size, k):
    assert 1.0 / single_range_ratio(size) == pytest.approx(k, abs=6e-5)


def test_weighted_average_of_the_handbook():
    # Source: NIST/SEMATECH e-Handbook, 6.3.2.4: EWMA0 = 50, s = 2.0539, weight 0.3, k = 3.
    values = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6,
              52.4, 53.6, 52.1]  # fmt: skip
    printed = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38,
               49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip
    weighted, half = ewma(values, mean=50.0, deviation=2.0539, weight_ratio=0.3, width=3.0)
    assert weighted == pytest.approx(printed, abs=0.00501)
    # The handbook's limits are those of a long run: after 20 values 0.7^40 of the variance is missing.
    assert (50.0 - half[-1], 50.0 + half[-1]) == pytest.approx((47.4115, 52.5884), abs=1e-4)
    assert np.all(np.abs(weighted - 50.0) < half)
    # Half width after the first value: lambda times L deviations.
    assert half[0] == pytest.approx(0.3 * 3.0 * 2.0539, rel=1e-12)


def test_interval_of_a_capability():
    # Source: Montgomery, Introduction to Statistical Quality Control, ex. 8.4: Cp 2.29 [1.57, 3.01] for n = 20; Cg is
    # 0.2 of Cp, with the same interval of s.
    base = [index - 9.5 for index in range(20)]
    deviation = (sum(x * x for x in base) / 19) ** 0.5
    study = type_one([1.75 * x / deviation for x in base], reference=0.0, width=24.0)
    assert [5.0 * c for c in (study.cg, study.cg_low, study.cg_high)] == pytest.approx(
        [2.285714286, 1.564945005, 3.005579430], rel=1e-6
    )
