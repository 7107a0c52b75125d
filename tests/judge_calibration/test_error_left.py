"""What constants leave: by hand, against units drawn by tolerance, and against known errors."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from harness.judge.calibration import Between, calibrate, measured_left, predicted_left, range_constants
from harness.judge.calibration.left import remainder, tolerance_columns
from harness.law import parts
from harness.values import Setting


def test_measured_errors_are_relative_to_the_constant_of_their_own_range(law: Any, point: Any) -> None:
    points = [
        point(1, 3, 0, ratio=1.02, offset_code=4.0),
        point(1, 3, 20, ratio=1.02 * math.exp(0.003), offset_code=5.5, own_u_percent=0.04),
        point(1, 4, 0, ratio=0.5),
        point(1, 4, 20, ratio=0.5 * math.exp(-0.002)),
    ]
    left = measured_left(points, range_constants(points, law))
    assert [item.error_percent for item in left] == pytest.approx([0.0, 0.3, 0.0, -0.2], abs=1e-12)
    assert [item.offset_left_code for item in left] == [0.0, 1.5, 0.0, 0.0]
    # what all readings share cancels: 0.03 and 0.04 remain
    assert [item.u_percent for item in left] == pytest.approx([0.0, 0.05, 0.0, math.hypot(0.03, 0.03)])


def test_predicted_by_hand(hr4: dict[str, Any], make_law: Any) -> None:
    attenuator, pregain, code, loading = hr4["stage"]
    attenuator["tolerance"] = {"1:10": 0.2, "1:100": 0.3}
    pregain["tolerance"] = {"ratio": 0.4}
    code["tolerance"] = {"gain_per_code": 1.0, "inl_lsb": 0.25, "bit_7": 0.1}
    loading["tolerance"] = {"setting": 0.05}
    law = make_law(hr4)
    codes = [dict(law.predict(Setting(1, 3, fine)).state.controls) for fine in range(21)]
    assert (codes[0]["code"], codes[0]["pregain"]) == (41, 0)
    assert (codes[20]["code"], codes[20]["pregain"]) == (102, 0)
    by_fine = {item.fine: item.half_width_percent for item in predicted_left(law, {3: 0})}
    assert len(by_fine) == 21
    assert by_fine[0] == 0.0
    # attenuator and gain per code are shared by the range; code steps and settings are each position's own
    expected = math.sqrt((25.0 / 41.0) ** 2 + (25.0 / 102.0) ** 2 + 2.0 * 0.05**2)
    assert by_fine[20] == pytest.approx(expected)


def test_what_two_positions_share_of_a_parameter_cancels(hr4: dict[str, Any], make_law: Any) -> None:
    """50 mV: code 163, at 70 % 233, both with bit 7; at 40 % the pre-gain and code 102 without it."""
    hr4["stage"][1]["tolerance"] = {"ratio": 0.4}
    hr4["stage"][2]["tolerance"] = {"bit_7": 0.1}
    law = make_law(hr4)
    states = {fine: dict(law.predict(Setting(1, 8, fine)).state.controls) for fine in (0, 10, 20)}
    assert [(state["pregain"], state["code"]) for state in states.values()] == [(0, 163), (0, 233), (1, 102)]
    left = {item.fine: item.half_width_percent for item in predicted_left(law, {8: 0})}
    assert left[10] == pytest.approx(0.1 * (128.0 / 163.0 - 128.0 / 233.0))
    assert left[20] == pytest.approx(math.hypot(0.4, 0.1 * 128.0 / 163.0))


def test_against_units_drawn_by_tolerance(hr4: dict[str, Any], make_law: Any) -> None:
    """Every parameter drawn with the half width as standard deviation, each unit corrected at position 5."""
    hr4["stage"][0]["tolerance"] = {"1:1": 0.2}
    hr4["stage"][1]["tolerance"] = {"ratio": 0.4}
    hr4["stage"][2]["tolerance"] = {"bits": 0.3, "inl_lsb": 0.2, "gain_per_code": 2.0}
    law = make_law(hr4)
    fines = len(law.fine_names)
    arrays = {name: array[6 * fines : 7 * fines] for name, array in law.grid.items()}
    rng = np.random.default_rng(4)
    units = np.zeros((6000, fines))
    for part in parts(law.path, arrays):
        shape = (6000, fines) if part.parameter == "inl_lsb" else (6000, 1)
        units += np.asarray(part.signed_percent) * rng.standard_normal(shape)
    scatter = np.std(units - units[:, [5]], axis=0)
    predicted = [item.half_width_percent for item in predicted_left(law, {6: 5})]
    assert predicted == pytest.approx(scatter.tolist(), rel=0.05, abs=1e-9)  # 0.9 % for 6000 draws


def test_what_moves_all_settings_alike_leaves_nothing(hr4: dict[str, Any], make_law: Any) -> None:
    hr4["stage"][2]["tolerance"] = {"gain_per_code": 5.0}
    law = make_law(hr4)
    assert tolerance_columns(law, 0).shape == (21, 0)
    assert max(item.half_width_percent for item in predicted_left(law, {0: 0})) == 0.0


@pytest.mark.parametrize(
    ("known", "expected"),
    [
        ([0], [0.0, 1.0, 4.0, 9.0, 16.0]),
        ([2], [-4.0, -3.0, 0.0, 5.0, 12.0]),
        ([0, 4], [0.0, -3.0, -4.0, -3.0, 0.0]),  # chord of a parabola: x² - 4x
        ([1, 3], [-1.0, 0.0, -1.0, 0.0, 7.0]),  # constant beyond the outer ones
    ],
)
def test_interpolation_of_a_parabola(known: list[int], expected: list[float]) -> None:
    errors = np.arange(5.0)[:, np.newaxis] ** 2
    assert remainder(errors, range(5), known)[:, 0].tolist() == pytest.approx(expected, abs=1e-12)


def test_held_from_the_known_position_below() -> None:
    errors = np.arange(5.0)[:, np.newaxis] ** 2
    assert remainder(errors, range(5), [1, 3], Between.HELD)[:, 0].tolist() == [-1.0, 0.0, 3.0, 0.0, 7.0]


def test_interpolation_goes_by_fine_position_not_by_row() -> None:
    errors = np.asarray([[0.0], [2.0], [10.0]])  # a straight line over the positions 0, 2, 10
    assert remainder(errors, (0, 2, 10), (0, 2)).ravel().tolist() == pytest.approx([0.0, 0.0, 0.0], abs=1e-12)


def test_the_whole(hr4: dict[str, Any], make_law: Any, point: Any) -> None:
    hr4["stage"][2]["tolerance"] = {"inl_lsb": 0.1}
    law = make_law(hr4)
    points = [
        point(channel, coarse, fine, ratio=1.01 * math.exp(error / 100.0), own_u_percent=0.001)
        for channel, sign in ((1, 1.0), (2, -1.0))
        for coarse in (3, 8)
        for fine, error in ((0, 0.0), (10, 0.1 * sign * coarse), (20, 0.2 * sign * coarse))
    ]
    found = calibrate(points, law)
    assert [(item.coarse, item.measured_at.fine) for item in found.worst] == [(3, 20), (8, 20)]
    assert [abs(item.measured_percent) for item in found.worst] == pytest.approx([0.6, 1.6])
    assert all(item.predicted_percent and item.predicted_percent > 0.0 for item in found.worst)
    assert len(found.predicted) == 2 * 21
    # errors are straight lines: one point at the end of each range, and nothing is left
    assert [(item.coarse, item.fine) for item in found.extra_measured] == [(8, 20), (3, 20)]
    assert [item.before_percent for item in found.extra_measured] == pytest.approx([1.6, 0.6])
    assert [item.after_percent for item in found.extra_measured] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert len(found.extra_predicted) == 5


def test_without_tolerances_nothing_is_predicted(law: Any, point: Any) -> None:
    found = calibrate([point(1, 3, 0, ratio=1.0), point(1, 3, 20, ratio=1.001)], law)
    assert (found.predicted, found.extra_predicted) == ((), ())
    assert (found.worst[0].predicted_percent, found.worst[0].predicted_fine) == (None, None)


def test_channels_that_share_no_position_have_no_common_further_point(law: Any, point: Any) -> None:
    found = calibrate([point(1, 3, 0, ratio=1.0), point(2, 3, 20, ratio=1.1)], law)
    assert found.extra_measured == ()
    assert [item.error_percent for item in found.measured] == pytest.approx([0.0, 0.0])
