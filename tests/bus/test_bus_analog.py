"""Volts to logic: thresholds, hysteresis, times of crossing, levels."""

from __future__ import annotations

import numpy as np
import pytest

from harness.bus import Thresholds, family_thresholds
from harness.bus.analog import Comparator, LevelMeter, comparators
from harness.bus.thresholds import LevelSurvey
from harness.errors import CaptureError


def test_families():
    # Common practice, no source: 0.8/2.0 V for TTL, 30/70 % of the supply for CMOS.
    assert family_thresholds("ttl") == Thresholds(v_il_v=0.8, v_ih_v=2.0)
    cmos = family_thresholds("cmos", 3.3)
    assert (cmos.v_il_v, cmos.v_ih_v) == (pytest.approx(0.99), pytest.approx(2.31))
    with pytest.raises(CaptureError, match="family 'ecl', supply None V; allowed: ttl, or cmos with a supply"):
        family_thresholds("ecl")
    with pytest.raises(CaptureError, match="family 'cmos', supply None V"):
        family_thresholds("cmos")


@pytest.mark.parametrize("pair", [(2.0, 0.8), (1.0, 1.0), (float("nan"), 1.0), (0.0, float("inf"))])
def test_thresholds_that_contradict_themselves_are_refused(pair):
    with pytest.raises(CaptureError, match="allowed are finite ones, V_IL lower"):
        Thresholds(v_il_v=pair[0], v_ih_v=pair[1])


def test_survey_takes_half_of_the_span_between_percentiles():
    survey = LevelSurvey()
    # 10th percentile 0.2 V, 90th 3.2 V; one overshoot to 4.5 V does not move them.
    survey.take(np.array([[0.2]] * 50 + [[3.2]] * 49 + [[4.5]]))
    found = survey.thresholds()
    assert found.automatic
    assert 0.5 * (found.v_il_v + found.v_ih_v) == pytest.approx(1.7)
    assert (found.v_il_v, found.v_ih_v) == (pytest.approx(1.1), pytest.approx(2.3))


def test_survey_of_a_quiet_bus_takes_the_extremes():
    survey = LevelSurvey()
    survey.take(np.array([[0.0]] * 990 + [[3.0]] * 10))
    assert survey.thresholds().v_ih_v == pytest.approx(2.1)


def test_survey_of_many_samples_stays_small_and_right():
    survey = LevelSurvey()
    for _ in range(30):
        survey.take(np.tile([[0.0], [3.0]], (40_001, 1))[:80_001])
    assert sum(part.size for part in survey._kept) <= 300_000
    assert survey.thresholds().v_il_v == pytest.approx(0.9)


def test_survey_of_nothing_is_refused():
    survey = LevelSurvey()
    survey.take(np.zeros((0, 2)))
    with pytest.raises(CaptureError, match="the voltages never change"):
        survey.thresholds()
    survey.take(np.ones((5, 2)))
    with pytest.raises(CaptureError, match="allowed is a capture in which lines move"):
        survey.thresholds()


def take(comparator, times_ns, *columns):
    return comparator.take(np.array(times_ns, dtype=np.int64), np.array(columns, dtype=float).T)


def test_edges_stand_where_the_straight_line_crosses():
    comparator = Comparator(1.0, 2.0)
    piece, high = take(comparator, [0, 100, 200, 300, 400], [0.0, 4.0, 4.0, 0.0, 0.0])
    # Up through 2 V half way from 0 to 4 V; down through 1 V three quarters of the way from 4 to 0 V.
    assert piece.ticks.tolist() == [50, 275]
    assert piece.levels.tolist() == [1, 0]
    assert high[:, 0].tolist() == [False, True, True, False, False]
    assert comparator.initial == 0
    assert piece.known_to == 400


def test_hysteresis_keeps_the_level_in_between():
    piece, _ = take(Comparator(1.0, 2.0), range(0, 700, 100), [0.0, 1.9, 1.1, 2.1, 1.1, 1.9, 0.9])
    assert piece.levels.tolist() == [1, 0]
    assert piece.ticks.tolist() == [290, 590]  # 1.1 + 0.9 of the way to 2.1; 1.9 - 0.9 of the way to 0.9


def test_lines_are_merged_in_order_of_time_and_pieces_join():
    first, second = [0.0, 3.0, 3.0, 3.0], [3.0, 3.0, 0.0, 3.0]
    whole, _ = take(Comparator(1.0, 2.0), [0, 30, 60, 90], first, second)
    assert whole.ticks.tolist() == [20, 50, 80]
    assert whole.levels.tolist() == [3, 1, 3]
    comparator, ticks, levels = Comparator(1.0, 2.0), [], []
    for k in range(4):
        piece, _ = take(comparator, [30 * k], first[k : k + 1], second[k : k + 1])
        ticks += piece.ticks.tolist()
        levels += piece.levels.tolist()
    assert (ticks, levels) == ([20, 50, 80], [3, 1, 3])
    assert comparator.initial == 2


def test_comparators_at_both_thresholds_disagree_on_a_weak_pulse():
    # A pulse that reaches 1.6 V: above V_IL, never above V_IH. The deciding comparator leaves the line low.
    weak = [0.0, 0.0, 1.6, 1.6, 0.0, 0.0]
    found = [len(take(c, range(0, 60, 10), weak)[0].ticks) for c in comparators(family_thresholds("ttl"))]
    assert found == [0, 2, 0]
    strong = [0.0, 0.0, 3.0, 3.0, 0.0, 0.0]
    assert [len(take(c, range(0, 60, 10), strong)[0].ticks) for c in comparators(family_thresholds("ttl"))] == [2, 2, 2]


def test_levels_away_from_edges():
    volts = np.array([[0.1, 0.1, 0.3, 0.2, 1.4, 2.9, 3.1, 3.2, 3.2, 2.8, 3.2, 1.0, 0.3, 0.2, 0.2]]).T
    meter = LevelMeter(("clock",), Thresholds(v_il_v=0.8, v_ih_v=2.0, automatic=True))
    _, high = Comparator(0.8, 2.0).take(np.arange(15), volts)
    meter.take(volts, high)
    (line,) = meter.results()
    assert line.line == "clock"
    assert (line.least_high_v, line.most_low_v) == (2.8, 0.3)
    assert line.high_v == pytest.approx(3.2)
    assert line.low_v == pytest.approx(
        0.15
    )  # of 0.1, 0.1, 0.3 and 0.2; the two samples to each side of an edge are out
    assert line.automatic


def test_line_that_never_moves_has_one_level():
    meter = LevelMeter(("a", "b"), family_thresholds("ttl"))
    volts = np.array([[0.1, 3.0]] * 5)
    meter.take(volts, volts > 1.4)
    low, high = meter.results()
    assert (low.low_v, low.high_v, low.least_high_v) == (0.1, None, None)
    assert (high.low_v, high.high_v, high.most_low_v) == (None, 3.0, None)
    assert LevelMeter(("a",), family_thresholds("ttl")).results()[0].high_v is None
