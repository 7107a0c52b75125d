from __future__ import annotations

import math
import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.bench import Interlock
from harness.errors import RefusedUnsafe

LIMITS = {1.0e6: 30.0, 50.0: 5.0}


def test_the_limit_follows_the_impedance():
    interlock = Interlock(LIMITS, impedance_ohm=1.0e6)
    assert (interlock.impedance_ohm, interlock.limit_vpk) == (1.0e6, 30.0)
    interlock.check(30.0)
    interlock.impedance_changed(50.0)
    assert (interlock.impedance_ohm, interlock.limit_vpk) == (50.0, 5.0)
    words = "refused a level of 30 V peak: the device's limit at 50 Ω is 5 V peak"
    with pytest.raises(RefusedUnsafe, match=words) as e:
        interlock.check(30.0)
    assert (e.value.asked_vpk, e.value.limit_vpk) == (30.0, 5.0)
    again = pickle.loads(pickle.dumps(e.value))
    assert (again.asked_vpk, again.limit_vpk, str(again)) == (30.0, 5.0, str(e.value))


def test_an_unknown_impedance_is_refused_at_once():
    with pytest.raises(RefusedUnsafe, match=r"no input limit is known for 75 Ω; the device file names 50 Ω, 1e\+06 Ω"):
        Interlock(LIMITS, impedance_ohm=75.0)
    with pytest.raises(RefusedUnsafe, match=r"the device file names none: add an \[\[input.limit\]\] for it"):
        Interlock({}, impedance_ohm=50.0)


def test_a_change_to_an_unknown_impedance_is_refused_and_undone():
    interlock = Interlock(LIMITS, impedance_ohm=50.0)
    with pytest.raises(RefusedUnsafe, match="no input limit is known for 75 Ω"):
        interlock.impedance_changed(75.0)
    assert (interlock.impedance_ohm, interlock.limit_vpk) == (50.0, 5.0)


@pytest.mark.parametrize("level_vpk", [math.nan, math.inf, -math.inf, -1e-12, 5.0000001])
def test_levels_that_are_never_safe(level_vpk):
    with pytest.raises(RefusedUnsafe, match="refused a level"):
        Interlock(LIMITS, impedance_ohm=50.0).check(level_vpk)


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_whatever_passes_lies_between_zero_and_the_limit(level_vpk):
    interlock = Interlock(LIMITS, impedance_ohm=50.0)
    try:
        interlock.check(level_vpk)
    except RefusedUnsafe:
        return
    assert 0.0 <= level_vpk <= 5.0


def test_the_limits_are_copied():
    limits = dict(LIMITS)
    interlock = Interlock(limits, impedance_ohm=50.0)
    limits[50.0] = 1000.0
    assert interlock.limit_vpk == 5.0
