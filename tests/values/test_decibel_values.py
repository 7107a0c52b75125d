import math

import numpy as np
import pytest

from harness.errors import NotFinite
from harness.values import db_from_ratio, db_from_ratios, ratio_from_db


@pytest.mark.parametrize("ratio", [0.0, -1.0, math.nan, math.inf])
def test_no_decibels_of_nonsense(ratio: float) -> None:
    with pytest.raises(NotFinite, match="allowed is a positive finite number"):
        db_from_ratio(ratio)


def test_no_ratio_of_an_infinite_level() -> None:
    with pytest.raises(NotFinite, match="allowed is a finite number"):
        ratio_from_db(math.inf)


def test_arrays_refuse_a_dead_channel_instead_of_inventing_a_level() -> None:
    with pytest.raises(NotFinite, match="positive finite ratios only"):
        db_from_ratios(np.array([1.0, 0.0]))
    assert db_from_ratios(np.array([1.0, 10.0])).tolist() == [0.0, 20.0]


def test_there_and_back() -> None:
    for level_db in (-60.0, -3.0, 0.0, 17.0):
        assert db_from_ratio(ratio_from_db(level_db)) == pytest.approx(level_db, abs=1e-12)
