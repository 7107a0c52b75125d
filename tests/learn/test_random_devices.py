"""Devices drawn at random, learned from nothing; the larger study is `python -m tests.learn.study`."""

from __future__ import annotations

import numpy as np
import pytest

from tests.learn.study import SAME_SHAPE, score


# One of each law: 11 and 24 divide by the code, 4 is proportional to it, 7 attenuates in dB, 10 amplifies in dB.
@pytest.mark.parametrize("seed", [4, 7, 10, 11, 24])
def test_a_device_drawn_at_random_is_learned(seed: int) -> None:
    found = score(seed)
    assert found.called == SAME_SHAPE[found.kind]
    assert found.layout in ("exact", "not exercised")
    assert found.words[0] == found.words[1]
    assert found.arithmetic_found
    assert not found.arithmetic_claimed
    assert np.mean(np.abs(found.errors) < 3.0) >= 0.9
