import math

import pytest

from harness.diagnosis import FACTORS, KNOWN, match_factor, station_faults


@pytest.mark.parametrize("ratio", [2.0, 1.9999, 0.50003, 2.0 * 1.0049])
def test_two_is_found_on_both_sides_within_half_a_percent(ratio: float) -> None:
    assert match_factor(ratio)[0].ratio == 2.0


@pytest.mark.parametrize("ratio", [2.0 * 1.006, 1.0, 1.04, 0.0, math.nan, -2.0, 1.7])
def test_what_is_no_exact_factor_is_not_called_one(ratio: float) -> None:
    assert match_factor(ratio) == ()


def test_every_row_is_the_first_at_its_own_ratio_and_at_its_inverse() -> None:
    for row in FACTORS:
        assert match_factor(row.ratio)[0] is row
        assert match_factor(1.0 / row.ratio)[0] is row


def test_windows_that_touch_name_both_nearest_first() -> None:
    # Closed form: 1.1·1.005 = 1.1055 lies above 1.1107·0.995 = 1.1051; no other rows come so near to each other.
    assert [row.ratio for row in match_factor(1.1053)] == [pytest.approx(1.1), pytest.approx(1.11072, rel=1e-5)]
    assert sum(len(match_factor(row.ratio)) for row in FACTORS) == len(FACTORS)


# Ratios of a table of the trade: what two mistaken conventions come to (calculated; causes common practice, no source).
@pytest.mark.parametrize(
    ("ratio", "cause"),
    [
        (2.0, "50 Ω into high impedance"), (0.6667, "25 Ω"), (1.3333, "100 Ω"), (1.2, "75 Ω"), (2.8284, "for rms"),
        (1.4142, "for rms"), (5.6569, "factor 2"), (1.1107, "square wave"), (1.5708, "average"), (3.4641, "600 Ω"),
        (0.7746, "0.775 V"), (10.0, "relay"), (100.0, "relay"), (1000.0, "milli"), (2.5, "1-2-5"), (1.1, "100 kΩ"),
        (1.1220, "1 dB"), (1.2589, "2 dB"),
    ],
)  # fmt: skip
def test_ratios_of_the_trade_are_in_the_table(ratio: float, cause: str) -> None:
    assert cause in match_factor(ratio)[0].cause


@pytest.mark.parametrize(
    ("ratio", "first"),
    [
        (2.0, "source-load-mis-set"), (1.0 / 1.5, "terminator-wrong"), (math.sqrt(8.0), "unit-mix-up"),
        (10.0, "probe-factor-wrong"), (0.1, "pad-wrong"), (9.88, "probe-factor-wrong"), (1.7, "source-load-mis-set"),
    ],
)  # fmt: skip
def test_a_factor_on_everything_names_the_station_by_its_exact_size(ratio: float, first: str) -> None:
    found = station_faults(ratio)
    assert found[0] == first
    assert len(set(found)) == len(found)
    assert all(KNOWN[name].station for name in found)
    # A pad makes any factor.
    assert "pad-wrong" in found
