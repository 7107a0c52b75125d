import math

import pytest

from harness.diagnosis import FACTORS, match_factor


@pytest.mark.parametrize("ratio", [2.0, 1.9999, 0.50003, 2.0 * 1.0049])
def test_two_is_found_on_both_sides_within_half_a_percent(ratio: float) -> None:
    assert match_factor(ratio)[0].ratio == 2.0


@pytest.mark.parametrize("ratio", [2.0 * 1.006, 1.0, 1.04, 0.0, math.nan, -2.0, 1.7])
def test_what_is_no_exact_factor_is_not_called_one(ratio: float) -> None:
    assert match_factor(ratio) == ()


def test_windows_that_touch_name_both_nearest_first() -> None:
    # Closed form: between 10·(1 - w) and 10·(1 + w) only ten matches; no two shipped rows overlap within their windows.
    for row in FACTORS:
        assert match_factor(row.ratio)[0] is row
