"""Gauge studies and charts: closed forms, and what they refuse."""

from __future__ import annotations

import math
import re

import pytest
from scipy.stats import norm, t

from harness.errors import MeasureError, NotFinite
from harness.judge.gauge import (
    GaugeTable,
    anova_study,
    average_range_study,
    ewma,
    mean_range_ratio,
    run_limit_ratio,
    single_range_ratio,
    stations_apart,
    type_one,
)
from harness.judge.gauge.spread import grade


def cells(parts, appraisers, trials, value):
    return {
        (f"p{p}", f"a{a}"): [value(p, a, k) for k in range(trials)] for p in range(parts) for a in range(appraisers)
    }


def test_a_study_of_known_parts():
    # Every cell is its part ± 1: s of a cell is √2, appraisers are alike, interaction is zero.
    study = anova_study(GaugeTable.of(cells(3, 2, 2, lambda p, a, k: 10.0 * p + (1.0 if k else -1.0))))
    # Pooled: SS 12 over 6 + 2 degrees of freedom.
    assert study.pooled
    assert study.spread.ev == pytest.approx(math.sqrt(12.0 / 8.0))
    assert study.spread.av == 0.0
    # MS of the parts is 2·2·((10² + 0 + 10²)/2) = 400.
    assert study.spread.pv == pytest.approx(math.sqrt((400.0 - 1.5) / 4.0))
    assert study.spread.tolerance_percent(60.0) == pytest.approx(10.0 * study.spread.grr)


def test_an_interaction_that_is_real_stays_apart():
    crossed = anova_study(GaugeTable.of(cells(4, 2, 3, lambda p, a, k: (p if a else -p) + 0.01 * (k - 1))))
    assert not crossed.pooled
    assert crossed.interaction > 100.0 * crossed.spread.ev
    assert crossed.spread.av >= crossed.interaction


def test_interaction_alone_scatters():
    exact = anova_study(GaugeTable.of(cells(3, 2, 2, lambda p, a, k: float(p * a))))
    assert (exact.f_interaction, exact.p_interaction, exact.pooled) == (math.inf, 0.0, False)


def test_a_range_above_its_limit_is_named():
    study = average_range_study(GaugeTable.of(cells(5, 2, 2, lambda p, a, k: k * (50.0 if (p, a) == (3, 1) else 1.0))))
    assert study.above == (("p3", "a1"),)


def test_of_more_readings_the_newest_count():
    more = cells(2, 2, 2, lambda p, a, k: float(p + k))
    more["p0", "a0"] = [99.0, 0.0, 1.0]
    assert GaugeTable.of(more).values[0, 0].tolist() == [0.0, 1.0]


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (cells(1, 2, 2, lambda p, a, k: float(k)), "1 parts; allowed: 2 or more"),
        (cells(2, 1, 2, lambda p, a, k: float(k)), "1 appraisers; allowed: 2 or more"),
        (cells(2, 2, 1, lambda p, a, k: float(p)), "1 trials; allowed: 2 or more"),
        ({("p0", "a0"): [1.0, 2.0], ("p1", "a1"): [1.0, 2.0]}, "p0 was never measured by a1"),
    ],
)
def test_an_unbalanced_study_is_refused(bad, said):
    with pytest.raises(MeasureError, match=said):
        GaugeTable.of(bad)


def test_a_study_of_nan_or_without_scatter_is_refused():
    with pytest.raises(NotFinite, match="a reading is NaN"):
        GaugeTable.of(cells(2, 2, 2, lambda p, a, k: math.nan))
    with pytest.raises(MeasureError, match="one run was counted twice"):
        anova_study(GaugeTable.of(cells(2, 2, 2, lambda p, a, k: float(p))))


def test_grades():
    assert [grade(value) for value in (9.9, 10.0, 30.0, 30.1)] == ["good", "conditional", "conditional", "too much"]


def test_ranges_of_two_by_closed_form():
    # |x - y| of two normal values: mean 2/√π, root mean square √2.
    assert mean_range_ratio(2) == pytest.approx(2.0 / math.sqrt(math.pi), rel=1e-6)
    assert single_range_ratio(2) == pytest.approx(math.sqrt(2.0), rel=1e-6)
    with pytest.raises(MeasureError, match="range of 1 values"):
        mean_range_ratio(1)


def test_type_one_by_closed_form():
    study = type_one([-1.0, 1.0] * 13, reference=0.1, width=60.0)
    deviation = math.sqrt(26.0 / 25.0)
    assert study.cg == pytest.approx(12.0 / (6.0 * deviation))
    assert study.cgk == pytest.approx(5.9 / (3.0 * deviation))
    assert study.outcome == "capable"
    assert type_one([-1.0, 1.0], reference=0.0, width=60.0).outcome.startswith("too few")
    assert type_one([-1.0, 1.0], reference=0.0, width=6.0).outcome == "not capable"
    still = type_one([1.0, 1.0], reference=0.0, width=5.0)
    assert (still.cg, still.cgk) == (math.inf, -math.inf)


def test_type_one_refuses():
    with pytest.raises(MeasureError, match="1 readings"):
        type_one([1.0], reference=0.0, width=1.0)
    with pytest.raises(MeasureError, match="tolerance 0 wide"):
        type_one([1.0, 2.0], reference=0.0, width=0.0)
    with pytest.raises(NotFinite, match="the reference or the tolerance"):
        type_one([1.0, 2.0], reference=math.nan, width=1.0)


def test_two_stations():
    first = [float(unit) for unit in range(30)]
    alike = stations_apart(first, [value + 0.05 for value in first], width=1.0)
    assert (alike.mean, alike.outcome) == (pytest.approx(0.05), "alike")
    assert alike.deviation == pytest.approx(0.0, abs=1e-12)
    assert stations_apart(first, [value - 0.2 for value in first], width=1.0).outcome == "apart"
    assert stations_apart([0.0, 1.0], [0.0, 1.0], width=1.0).outcome == "too few: 30 or more units"
    for one, other, width, said in (([1.0], [1.0], 1.0, "1 units on one"), ([1, 2], [1, 2], 0.0, "tolerance 0 wide")):
        with pytest.raises(MeasureError, match=said):
            stations_apart(one, other, width=width)
    with pytest.raises(NotFinite, match="stations: a reading"):
        stations_apart([1.0, 2.0], [1.0, math.inf], width=1.0)


def test_a_chart_of_single_values_and_its_limits():
    average, half = ewma([3.0, 0.0], mean=1.0, deviation=0.5, weight_ratio=1.0, width=3.0)
    assert (average.tolist(), half.tolist()) == ([3.0, 0.0], [1.5, 1.5])
    _, wider = ewma([3.0], mean=1.0, deviation=0.5, weight_ratio=1.0, width=3.0, reference=3)
    assert wider[0] == pytest.approx(1.5 * math.sqrt(4.0 / 3.0))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"weight_ratio": 0.0}, "EWMA: weight_ratio is 0.0; allowed is a finite number > 0 and <= 1"),
        ({"deviation": 0.0}, "EWMA: deviation is 0.0"),
        ({"width": -1.0}, "EWMA: width is -1.0"),
        ({"reference": 0}, "EWMA: reference is 0.0; allowed is a finite number >= 1"),
        ({"values": [1.0, math.nan]}, "EWMA: a value is nan"),
    ],
)
def test_what_a_chart_refuses(change, said):
    given = {"values": [1.0], "mean": 0.0, "deviation": 1.0} | change
    with pytest.raises(NotFinite, match=re.escape(said)):
        ewma(given.pop("values"), **given)


def test_limits_of_several_charts_share_one_false_alarm():
    alone = run_limit_ratio(1, None)
    assert alone == pytest.approx(2.86, abs=1e-9)
    assert 16.0 * 2.0 * norm.sf(run_limit_ratio(16, None)) == pytest.approx(2.0 * norm.sf(alone))
    assert 2.0 * t.sf(run_limit_ratio(1, 10), 9) == pytest.approx(2.0 * norm.sf(alone))
    with pytest.raises(MeasureError, match="charts: 0, reference of"):
        run_limit_ratio(0, 5)
