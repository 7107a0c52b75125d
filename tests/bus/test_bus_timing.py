"""Distances between edges: frames worked by hand, limits, an independent count, the rule of three."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2

from harness.bus import BusDevice, BusWiring, TimingLimits, error_bound_ratio, measure_timing
from harness.values import Capture

CALM = settings(derandomize=True, deadline=None, max_examples=150)
WIRING = BusWiring(
    lines=("data", "clock", "latch"),
    data="data",
    clock="clock",
    clock_rising=True,
    latch_rising=True,
    minimum_pulse_ns=0.0,
    devices=(BusDevice(latch="latch", bits=2),),
)
DATA, CLOCK, LATCH = 1, 2, 4


def capture_of(*events):
    """Time in ns and the lines that change then."""
    levels, level = [], 0
    for _, lines in events:
        level ^= lines
        levels.append(level)
    return Capture(
        times_ns=np.array([time for time, _ in events], dtype=np.int64),
        levels=np.array(levels, dtype=np.uint8),
        initial=0,
        lines=WIRING.lines,
    )


# Data rises at 100, clock high 120 to 170 and 270 to 310, data falls at 205, latch high 360 to 400; a second frame:
# data rises at 420, clock high 500 to 560 and 590 to 680, data falls at 600, latch from 700 on.
HAND = capture_of(
    (100, DATA), (120, CLOCK), (170, CLOCK), (205, DATA), (270, CLOCK), (310, CLOCK), (360, LATCH), (400, LATCH),
    (420, DATA), (500, CLOCK), (560, CLOCK), (590, CLOCK), (600, DATA), (680, CLOCK), (700, LATCH),
)  # fmt: skip


@pytest.mark.parametrize(
    ("name", "distances"),
    [
        ("setup", [20, 65, 80]),  # 120-100, 270-205, 500-420; the fall at 600 has no clock after it
        ("hold", [85, 150, 10]),  # 205-120, 420-270, 600-590
        ("clock-high", [50, 40, 60, 90]),
        ("clock-low", [100, 190, 30]),  # 270-170, 500-310, 590-560
        ("latch-width", [40]),  # the second latch never falls
        ("clock-to-latch", [90, 110]),  # 360-270, 700-590
        ("latch-to-clock", [140]),  # 500-360
    ],
)
def test_frame_by_hand(name, distances):
    distance = measure_timing(HAND, WIRING).distance(name)
    assert distance.count == len(distances)
    assert distance.minimum_ns == min(distances)
    assert distance.mean_ns == pytest.approx(sum(distances) / len(distances))
    assert distance.limit_ns is None
    assert distance.margin_ns is None
    if name in ("setup", "hold"):
        assert distance.histogram == tuple((float(value), 1) for value in sorted(distances))
    else:
        assert distance.histogram == ()


def test_clock_and_counts_by_hand():
    timing = measure_timing(HAND, WIRING)
    assert timing.clock_hz == pytest.approx(1e9 / 90)  # 590 - 500
    assert timing.edges == (("data", 4), ("clock", 8), ("latch", 3))
    assert timing.glitches == (("data", 0), ("clock", 0), ("latch", 0))
    assert timing.resolution_ns == 1.0
    assert timing.sound_words == 2
    assert timing.error_bound_ratio == 1.0
    assert timing.distance("hold").minimum_at_ns == 600


def test_limits_margins_and_violations():
    limits = TimingLimits(
        setup_ns=65.0, hold_ns=10.0, clock_high_ns=45.0, clock_low_ns=20.0, latch_ns=50.0, clock_to_latch_ns=91.0,
        latch_to_clock_ns=140.0, clock_hz=10e6,
    )  # fmt: skip
    timing = measure_timing(HAND, WIRING, limits)
    found = {d.name: (d.margin_ns, d.violations) for d in timing.distances}
    assert found == {
        "setup": (-45.0, 1),  # 20 is below 65; 65 itself keeps the limit
        "hold": (0.0, 0),
        "clock-high": (-5.0, 1),
        "clock-low": (10.0, 0),
        "latch-width": (-10.0, 1),
        "clock-to-latch": (-1.0, 1),
        "latch-to-clock": (0.0, 0),
    }
    assert timing.clock_limit_hz == 10e6
    assert timing.clock_violations == 1


def test_quiet_bus_has_no_distances():
    timing = measure_timing(capture_of(), WIRING, TimingLimits(setup_ns=10.0))
    assert all(d.count == 0 and d.minimum_ns is None and d.mean_ns is None for d in timing.distances)
    assert timing.distance("setup").margin_ns is None
    assert timing.clock_hz is None
    assert timing.error_bound_ratio is None
    with pytest.raises(KeyError):
        timing.distance("rise")


def test_data_edge_at_the_clock_edge_has_no_setup_and_no_hold():
    timing = measure_timing(capture_of((100, DATA), (120, CLOCK), (170, CLOCK), (200, CLOCK | DATA)), WIRING)
    assert timing.distance("setup").minimum_ns == 0.0
    assert timing.distance("hold").minimum_ns == 0.0
    assert timing.distance("setup").minimum_at_ns == 200


def test_long_distances_share_classes_of_a_factor_of_two():
    timing = measure_timing(capture_of((0, DATA), (5000, CLOCK), (5100, CLOCK), (9000, DATA), (14000, CLOCK)), WIRING)
    assert timing.distance("setup").histogram == ((4096.0, 2),)
    assert timing.distance("hold").histogram == ((4000.0, 1),)


@CALM
@given(steps=st.lists(st.tuples(st.integers(1, 90), st.sampled_from([DATA, CLOCK, CLOCK, LATCH])), max_size=80))
def test_distances_against_a_plain_count(steps):
    now, events = 0, []
    for gap_ns, line in steps:
        now += gap_ns
        events.append((now, line))
    level = 0
    last = dict.fromkeys(("data", "clock", "rise", "latch", "instant"))
    fresh = {"setup": False, "hold": False, "clock-to-latch": False, "latch-to-clock": False}
    found = {name: [] for name in (*fresh, "clock-high", "clock-low", "latch-width")}
    for time, line in events:
        level ^= line
        if line == DATA:
            if fresh["hold"]:
                found["hold"].append(time - last["rise"])
            fresh["hold"], fresh["setup"], last["data"] = False, True, time
        elif line == CLOCK:
            if last["clock"] is not None:
                found["clock-low" if level & CLOCK else "clock-high"].append(time - last["clock"])
            last["clock"] = time
            if level & CLOCK:
                if fresh["setup"]:
                    found["setup"].append(time - last["data"])
                if fresh["latch-to-clock"]:
                    found["latch-to-clock"].append(time - last["instant"])
                fresh.update({"setup": False, "latch-to-clock": False, "hold": True, "clock-to-latch": True})
                last["rise"] = time
        elif level & LATCH:
            if fresh["clock-to-latch"]:
                found["clock-to-latch"].append(time - last["rise"])
            fresh["clock-to-latch"], fresh["latch-to-clock"] = False, True
            last["instant"] = last["latch"] = time
        elif last["latch"] is not None:
            found["latch-width"].append(time - last["latch"])
    timing = measure_timing(capture_of(*events), WIRING)
    assert {d.name: (d.count, d.minimum_ns) for d in timing.distances} == {
        name: (len(values), float(min(values)) if values else None) for name, values in found.items()
    }


@pytest.mark.parametrize("frames", [1, 3, 10, 300, 10**6])
def test_rule_of_three(frames):
    assert error_bound_ratio(frames) == min(1.0, 3.0 / frames)
    exact = 1.0 - 0.05 ** (1.0 / frames)  # (1 - p)^n = 0.05
    assert error_bound_ratio(frames) >= exact


@pytest.mark.parametrize("wrong", [1, 2, 5, 20, 100])
def test_bound_with_wrong_frames_is_the_poisson_bound(wrong):
    exact = chi2.ppf(0.95, 2 * (wrong + 1)) / 2 / 10_000
    assert math.isclose(error_bound_ratio(10_000, wrong), exact, rel_tol=0.01)


def test_no_frames_have_no_bound():
    assert error_bound_ratio(0) is None
    assert error_bound_ratio(2, 2) == 1.0
