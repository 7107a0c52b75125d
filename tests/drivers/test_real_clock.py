from __future__ import annotations

from harness.bench.conformance import check_clock
from harness.drivers import RealClock


def test_the_real_clock_keeps_its_contract():
    check_clock(RealClock())


def test_a_negative_sleep_is_none():
    clock = RealClock()
    before_s = clock.now_s()
    clock.sleep(-5.0)
    assert clock.now_s() - before_s < 1.0
