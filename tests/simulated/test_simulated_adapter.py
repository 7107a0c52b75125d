"""The adapter's protocol, as harness/bus/README.md states it, and the shape of the traffic."""

from __future__ import annotations

import zlib

import numpy as np
import pytest


def events(desk):
    payload = desk.block("adapter", "FETCH?")
    magic, dropped, initial, count = payload[:4], *np.frombuffer(payload[4:16], "<u4").tolist()
    assert magic == b"GLC2"
    assert zlib.crc32(payload[:-4]) == int.from_bytes(payload[-4:], "little")
    words = np.frombuffer(payload[16:-4], "<u8")
    assert len(words) == count
    return dropped, initial, (words >> np.uint64(8)).astype(np.int64), (words & np.uint64(255)).astype(int)


def test_arm_and_fetch_without_traffic(desk):
    assert desk.ask("adapter", "ARM") == "OK"
    dropped, initial, times_ns, _ = events(desk)
    assert (dropped, initial, len(times_ns)) == (0, 0, 0)


def test_only_what_happens_between_arm_and_fetch_is_heard(desk):
    desk.select(1, 5, 100)
    desk.ask("adapter", "ARM")
    desk.select(1, 5, 97)
    _, initial, times_ns, levels = events(desk)
    assert initial in (0, 1)
    assert np.all(np.diff(times_ns) >= 0)
    assert times_ns[0] > 0
    assert times_ns[-1] < 1_000_000
    clocks = int(np.sum(np.diff(levels >> 1 & 1) == 1))
    assert clocks == 2 * 48
    desk.select(1, 5, 94)
    # Stopped by the first fetch: asking again hands over the same.
    assert np.array_equal(events(desk)[2], times_ns)
    assert int(desk.ask("adapter", "LINES?")) in (0, 1)


def test_a_fetch_in_the_middle_of_the_traffic_cuts_it(desk):
    desk.ask("adapter", "ARM")
    desk.tell("device", "INP1:RANG 5")
    desk.clock.sleep(0.00005)
    _, _, times_ns, _ = events(desk)
    assert 0 < len(times_ns) < 150


def test_clock_period_setup_and_latch_width(desk):
    desk.ask("adapter", "ARM")
    desk.tell("device", "INP1:RANG 5")
    desk.clock.sleep(0.001)
    _, initial, times_ns, levels = events(desk)
    states = np.concatenate([[initial], levels])
    rises = {line: times_ns[np.diff(states >> line & 1) == 1] for line in range(7)}
    falls = {line: times_ns[np.diff(states >> line & 1) == -1] for line in range(7)}
    clock_ns = rises[1]
    assert len(clock_ns) == 48
    within = np.concatenate([np.diff(clock_ns[start : start + 9]) for start in (0, 9, 18, 27)])
    assert set(within.tolist()) == {1000}
    for line in range(2, 7):
        assert (falls[line] - rises[line]).tolist() == [300]
    data_ns = np.sort(np.concatenate([rises[0], falls[0]]))
    nearest = [int(np.min(np.abs(data_ns - rise))) for rise in clock_ns]
    assert min(nearest) >= 120
    # Pulses too short to be real, and traffic that no clock samples.
    widths = np.diff(data_ns)
    assert np.any(widths < 30) or np.any(widths == 90) or np.any(widths == 100)


def test_events_that_do_not_fit_are_counted(make_desk):
    desk = make_desk(change=lambda text: text.replace("capacity = 20000", "capacity = 100"))
    desk.ask("adapter", "ARM")
    desk.select(1, 5, 97)
    dropped, _, times_ns, _ = events(desk)
    assert len(times_ns) == 100
    assert dropped > 100


def test_loading_a_word_reaches_bus_and_device(desk):
    desk.ask("adapter", "ARM")
    assert desk.ask("adapter", "LOAD latch-2 9 1Cc") == "OK"
    desk.clock.sleep(0.001)
    _, _, _, levels = events(desk)
    assert int(np.sum(np.diff(levels >> 1 & 1) == 1)) == 9
    assert int(np.sum(np.diff(levels >> 3 & 1) == 1)) == 1
    assert desk.world.device.front_ends[2].register == 0x1CC
    assert desk.ask("adapter", "LOAD latch-bias 12 800") == "OK"


@pytest.mark.parametrize(
    ("message", "code"),
    [
        ("FOO", -113), ("FETCH?", -230), ("LOAD", -109), ("LOAD latch-1 9", -109), ("LOAD latch-1 9 1 1", -108),
        ("LOAD latch-9 9 1", -224), ("LOAD data 9 1", -224), ("LOAD latch-1 9 XY", -121), ("LOAD latch-1 4 1F", -222),
        ("LOAD latch-1 0 0", -222), ("LOAD latch-1 33 0", -222),
    ],
)  # fmt: skip
def test_a_refused_command_is_answered_too(desk, message, code):
    assert desk.ask("adapter", message) == "ERR"
    assert desk.errors("adapter") == [code]


def test_a_reset_forgets(desk):
    desk.ask("adapter", "ARM")
    desk.tell("adapter", "*RST")
    assert desk.ask("adapter", "FETCH?") == "ERR"
