"""Levels that stay for several fine positions: counted by hand, and what they never do."""

from __future__ import annotations

import math

import pytest

from harness.ladder.drive import Level
from harness.ladder.hold import held


def level(drive_vpk: float, fill_ratio: float = 0.8) -> Level:
    return Level(needed_vpk=drive_vpk, drive_vpk=drive_vpk, fill_ratio=fill_ratio)


def test_by_hand() -> None:
    """Wanted 0.8, least 0.2: a level stays down to a fill of 0.4, so to half the gain of the last position."""
    own = {(0, 0): level(9.5), (0, 1): level(4.5), (0, 2): level(2.1), (0, 3): level(2.0), (1, 0): level(1.9)}
    found = held(own, fill_low=0.2, fill_target=0.8)
    assert {place: one.drive_vpk for place, one in found.items()} == {
        (0, 3): 2.0, (0, 2): 2.0, (0, 1): 4.5, (0, 0): 9.5, (1, 0): 1.9,
    }  # fmt: skip
    assert found[0, 2].fill_ratio == pytest.approx(0.8 * 2.0 / 2.1)
    assert found[0, 2].needed_vpk == 2.1
    assert held({**own, (0, 1): level(3.9)}, fill_low=0.2, fill_target=0.8)[0, 1].drive_vpk == 2.0


def test_no_higher_level_where_the_gain_falls_behind() -> None:
    found = held({(0, 0): level(1.0), (0, 1): level(1.1)}, fill_low=0.2, fill_target=0.8)
    assert [found[0, 0].drive_vpk, found[0, 1].drive_vpk] == [1.0, 1.1]


def test_a_device_takes_fewer_levels_and_none_higher(workshop) -> None:
    """21 positions over a ratio of 2.5 of gain, and a level stays over 0.75 / sqrt(0.5 · 0.75): five levels a range."""
    wanted = {"channels": [1], "coarse": ["20V", "2V", "50mV"]}
    own, found = workshop.build(**wanted), workshop.build(**wanted, hold_level=True)
    assert [rung.prediction for rung in own] == [rung.prediction for rung in found]
    for before, after in zip(own, found, strict=True):
        assert after.drive_vpk <= before.drive_vpk
        assert math.sqrt(0.5 * 0.75) <= after.fill_ratio <= before.fill_ratio
    up, down = found[:63], found[63:]
    assert [rung.drive_vpk for rung in up] == [rung.drive_vpk for rung in reversed(down)]
    # 2.5 is 4.5 times 1.225 in logarithms.
    assert [len({rung.drive_vpk for rung in up[start : start + 21]}) for start in (0, 21, 42)] == [5, 5, 5]
