"""The greedy choice: closed forms, and every single choice tried."""

from __future__ import annotations

import numpy as np
import pytest

from harness.judge.calibration import Between, Sheet, extra_points


def sheet(errors: object, *, coarse: int = 0, joint: bool = False, first: int = 0, floor: float = 0.0) -> Sheet:
    table = np.asarray(errors, dtype=np.float64).reshape(len(errors), -1)  # type: ignore[arg-type]
    fines = tuple(range(table.shape[0]))
    return Sheet(coarse=coarse, fines=fines, errors_percent=table, joint=joint, first=first, floor_percent=floor)


def test_a_ramp_needs_its_end_alone() -> None:
    found = extra_points([sheet([0.0, 0.1, 0.2, 0.3])], most=5)
    assert [(item.fine, item.before_percent, item.after_percent) for item in found] == [
        (3, pytest.approx(0.3), pytest.approx(0.0, abs=1e-12))
    ]


def test_a_step_needs_the_position_behind_it_held() -> None:
    (found,) = extra_points([sheet([0, 0, 0, 0, 0, 1, 1, 1, 1])], most=3)
    assert (found.fine, found.before_percent, found.after_percent) == (5, 1.0, 0.0)
    assert found.between is Between.HELD


def test_a_curve_is_better_joined_by_lines() -> None:
    # x² over 0 to 8: a chord to 7 leaves 12 below it and 64 - 49 = 15 at the end; then the end; then the middle
    found = extra_points([sheet([x * x for x in range(9)])], most=3)
    assert [(item.fine, round(item.before_percent, 9), round(item.after_percent, 9)) for item in found] == [
        (7, 64.0, 15.0),
        (8, 15.0, 12.0),
        (3, 12.0, 4.0),
    ]
    assert {item.between for item in found} == {Between.LINEAR}


def test_each_choice_is_the_best_single_one() -> None:
    rng = np.random.default_rng(11)
    for joint in (False, True):
        made = sheet(rng.standard_normal((9, 4)), joint=joint, first=2)
        (found,) = extra_points([made], most=1)
        tried = {row: made.worst([2, row])[0] for row in range(9) if row != 2}
        assert found.after_percent == min(tried.values())
        assert tried[found.fine] == found.after_percent
        assert found.before_percent == made.worst([2])[0]


def test_the_range_that_is_worst_comes_first() -> None:
    small, large = sheet([0.0, 0.1], coarse=4), sheet([0.0, 0.5], coarse=7)
    assert [item.coarse for item in extra_points([small, large], most=2)] == [7, 4]
    assert [item.coarse for item in extra_points([small, large], most=1)] == [7]


def test_joint_columns_add_as_squares_and_others_do_not() -> None:
    errors = [[0.0, 0.0], [3.0, 4.0]]
    assert sheet(errors, joint=True).worst([0])[0] == pytest.approx(5.0)
    assert sheet(errors).worst([0])[0] == pytest.approx(4.0)


def test_noise_is_not_worth_a_point() -> None:
    assert extra_points([sheet([0.0, 0.05, -0.04], floor=0.06)], most=3) == ()


def test_nothing_to_gain_no_points() -> None:
    assert extra_points([sheet([0.0]), sheet([0.0, 0.0], coarse=1)], most=3) == ()
    assert extra_points([], most=3) == ()
    empty = Sheet(coarse=0, fines=(0, 1), errors_percent=np.zeros((2, 0)), joint=True, first=0)
    assert empty.worst([0])[0] == 0.0


def test_the_errors_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        sheet([0.0, 1.0]).errors_percent[0] = 1.0
