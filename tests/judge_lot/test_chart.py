"""The chart of a number over units."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import NotFinite
from harness.judge.lot import chart_of
from harness.judge.lot.chart import LEAST_POINTS, zone_alarms
from harness.judge.lot.run_length import zone_alarm


def test_a_shift_is_found_and_counted_once():
    values = np.random.default_rng(1).normal(size=2000)
    values[1500:] += 2.0
    chart = chart_of(values)
    assert chart is not None
    assert chart.base == 1000
    # Run length of 3.7 at this shift (Lucas and Saccucci, lambda 0.2): within a few of them.
    assert 1500 <= next(at for at in chart.alarms if at >= 1500) < 1512
    assert len(chart.alarms) > 400
    assert chart.excursions < 30
    assert chart.expected == pytest.approx(2000 / 371, rel=0.01)


def test_too_few_or_all_alike_make_no_chart():
    assert chart_of(np.arange(LEAST_POINTS - 1)) is None
    assert chart_of([1.0] * 50) is None
    with pytest.raises(NotFinite, match="chart: values is nan"):
        chart_of([float("nan")] * 50)


def by_hand(z: list[float]) -> int:
    """The rules point by point, in plain words."""
    count, seen = 0, []
    for value in z:
        seen.append(value)
        side = 1 if value >= 0 else -1
        near = [side * one for one in seen]
        if (
            near[-1] >= 3
            or (near[-1] >= 2 and sum(one >= 2 for one in near[-3:]) >= 2)
            or (near[-1] >= 1 and sum(one >= 1 for one in near[-5:]) >= 4)
            or (len(near) >= 8 and all((one >= 0) == (value >= 0) for one in seen[-8:]))
        ):
            count, seen = count + 1, []
    return count


@pytest.mark.parametrize("shift", [0.0, 0.7, -1.5])
def test_zone_rules_against_the_rules_in_words(shift):
    z = np.random.default_rng(2).normal(size=3000) + shift
    assert zone_alarms(z) == by_hand(z.tolist()) > 20


def test_a_rule_looks_at_the_newest_point():
    two = {"two_of_three": True, "four_of_five": False, "eight": False}
    assert zone_alarm((3, 1, 3), 3, **two)
    assert not zone_alarm((3, 3, 1), 3, **two)
    assert not zone_alarm((3, -1, -3), -2, **two)
