"""Line roles found from traffic alone, and "cannot tell" where the traffic does not show them."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from harness.bus import BusDevice, BusWiring, LabelledCapture, decode, find_roles
from harness.errors import CaptureError
from harness.values import Capture


class Traffic:
    """A random bus, and whatever is played on it; names of lines say nothing."""

    def __init__(self, seed, count, *, clock_rising=None, latch_rising=None):
        self.rng = np.random.default_rng(seed)
        self.lines = tuple(f"pin-{k}" for k in range(count + 2))
        order = self.rng.permutation(count + 2)
        self.data, self.clock, *self.latches = (self.lines[k] for k in order)
        self.clock_rising = bool(self.rng.integers(0, 2)) if clock_rising is None else clock_rising
        self.latch_rising = bool(self.rng.integers(0, 2)) if latch_rising is None else latch_rising
        self.bits = {latch: int(self.rng.integers(6, 13)) for latch in self.latches}
        self.period = int(self.rng.integers(100, 2000))
        self.rest()

    def rest(self):
        self.level = dict.fromkeys(self.lines, 0)
        self.level[self.clock] = int(not self.clock_rising)
        for latch in self.latches:
            self.level[latch] = int(not self.latch_rising)
        self.now, self.events = int(self.rng.integers(0, 1000)), []
        self.initial = self.packed()

    def packed(self):
        return sum(level << k for k, level in enumerate(self.level.values()))

    def put(self, line, at):
        self.level[line] ^= 1
        self.events.append((at, self.packed()))

    def word(self, latch, value):
        """Data is set up 10 to 90 % of the resting phase before the active edge."""
        half = self.period // 2
        self.now += int(self.rng.integers(1, 5)) * self.period
        for bit in f"{value:0{self.bits[latch]}b}":
            if self.level[self.data] != int(bit):
                self.put(self.data, self.now + int(half * self.rng.uniform(0.1, 0.9)))
            self.put(self.clock, self.now + half)
            self.put(self.clock, self.now + 2 * half)
            self.now += 2 * half
        self.put(latch, self.now + half)
        self.put(latch, self.now + 2 * half)
        self.now += 3 * half
        for _ in range(int(self.rng.integers(0, 3))):
            self.now += int(self.rng.integers(2, 4)) * self.period
            self.put(self.data, self.now)

    def refresh(self, words):
        """All devices get their words, as a firmware does that rewrites all of them."""
        for latch, value in words.items():
            self.word(latch, value)

    def capture(self):
        times, levels = zip(*self.events, strict=True)
        taken = Capture(
            times_ns=np.array(times, dtype=np.int64),
            levels=np.array(levels, dtype=np.uint8),
            initial=self.initial,
            lines=self.lines,
        )
        self.rest()
        return taken

    def random_words(self):
        return {latch: int(self.rng.integers(0, 2**bits)) for latch, bits in self.bits.items()}


@pytest.mark.parametrize("seed", range(40))
def test_roles_are_found_without_hints(seed):
    traffic = Traffic(seed, 1 + seed % 5)
    played = [traffic.random_words() for _ in range(8)]
    for words in played:
        traffic.refresh(words)
    capture = traffic.capture()
    roles = find_roles((LabelledCapture(capture=capture),))
    assert roles.clock.value == traffic.clock, roles.clock.evidence
    assert roles.data.value == traffic.data, roles.data.evidence
    assert roles.clock_edge.value == ("rising" if traffic.clock_rising else "falling"), roles.clock_edge.evidence
    assert roles.latch_edge.value == ("rising" if traffic.latch_rising else "falling"), roles.latch_edge.evidence
    assert {latch.value for latch in roles.latches} == set(traffic.latches)
    found = {latch.value: int(bits.value) for latch, bits in zip(roles.latches, roles.bits, strict=True)}
    assert found == traffic.bits
    assert all(0.5 < answer.confidence_ratio <= 1.0 for answer in (roles.clock, roles.data, roles.clock_edge))
    assert not roles.first_bit.told
    wiring = roles.wiring(minimum_pulse_ns=1.0)
    words = [(word.latches, word.value) for word in decode(capture, wiring).words]
    assert words == [((latch,), value) for row in played for latch, value in row.items()]


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("turned", [False, True])
def test_channels_and_bit_order_are_found_from_single_moves(seed, turned):
    traffic = Traffic(100 + seed, 3)
    words = traffic.random_words()
    owners = dict(zip((1, 2, 3), traffic.rng.permutation(traffic.latches), strict=True))
    captures = []
    for channel, latch in owners.items():
        bits = traffic.bits[latch]
        for rank, value in enumerate(np.linspace(1, 2**bits - 1, 6).astype(int).tolist()):
            text = f"{value:0{bits}b}"
            words[str(latch)] = int(text[::-1] if turned else text, 2)
            traffic.refresh(words)
            captures.append(LabelledCapture(capture=traffic.capture(), channel=channel, rank=float(rank)))
    roles = find_roles(tuple(captures))
    assert {channel: found.value for channel, found in roles.channels} == owners
    assert roles.first_bit.value == ("least-significant" if turned else "most-significant"), roles.first_bit.evidence
    assert "6 words, 6 captures" in roles.channels[0][1].evidence


def test_two_channels_moved_at_once_cannot_be_told_apart():
    traffic = Traffic(5, 2)
    captures = []
    for _ in range(4):
        traffic.refresh(traffic.random_words())
        captures.append(LabelledCapture(capture=traffic.capture(), channel=1, rank=None))
    ((channel, found),) = find_roles(tuple(captures)).channels
    assert channel == 1
    assert not found.told
    assert found.evidence.startswith("cannot tell: words that change while channel 1 is moved:")


def test_random_words_do_not_show_the_bit_order():
    traffic = Traffic(8, 1)
    captures = []
    for rank in range(8):
        traffic.refresh(traffic.random_words())
        captures.append(LabelledCapture(capture=traffic.capture(), rank=float(rank)))
    found = find_roles(tuple(captures)).first_bit
    assert not found.told
    assert "cannot tell: over 7 steps" in found.evidence


def test_quiet_lines_have_no_clock():
    capture = Capture(
        times_ns=np.array([10, 20]), levels=np.array([1, 0], dtype=np.uint8), initial=0, lines=("a", "b", "c")
    )
    roles = find_roles((LabelledCapture(capture=capture),))
    assert roles.clock.evidence == "cannot tell: no line has 6 pulses or more"
    assert roles.wiring() is None
    assert roles.latches == ()


def test_noise_has_no_clock():
    rng = np.random.default_rng(3)
    times = np.cumsum(rng.exponential(400, 600).astype(np.int64) + 1)
    levels = np.cumsum(1 << rng.integers(0, 3, 600)).astype(np.uint8) & 7
    capture = Capture(times_ns=times, levels=levels, initial=0, lines=("a", "b", "c"))
    roles = find_roles((LabelledCapture(capture=capture),))
    assert not roles.clock.told
    assert "keeps one period in" in roles.clock.evidence


def test_two_clocks_cannot_be_told_apart():
    traffic = Traffic(11, 2)
    traffic.refresh(traffic.random_words())
    capture = traffic.capture()
    lines = (*capture.lines, "copy")
    clock = capture.levels >> capture.lines.index(traffic.clock) & 1
    both = dataclasses.replace(
        capture, levels=capture.levels | (clock << 4).astype(np.uint8), lines=lines,
        initial=capture.initial | int(not traffic.clock_rising) << 4,
    )  # fmt: skip
    roles = find_roles((LabelledCapture(capture=both),))
    assert not roles.clock.told
    assert "both pulse with about one period" in roles.clock.evidence


def test_constant_words_hide_data_but_not_the_clock():
    traffic = Traffic(21, 2)
    for _ in range(4):
        for latch in traffic.latches:
            half = traffic.period // 2
            for _ in range(traffic.bits[latch]):
                traffic.put(traffic.clock, traffic.now + half)
                traffic.put(traffic.clock, traffic.now + 2 * half)
                traffic.now += 2 * half
            traffic.put(latch, traffic.now + half)
            traffic.put(latch, traffic.now + 2 * half)
            traffic.now += 6 * half
    roles = find_roles((LabelledCapture(capture=traffic.capture()),))
    assert roles.clock.value == traffic.clock
    assert roles.data.value == traffic.data
    assert roles.data.evidence == "the only line left; it never moved inside a burst"
    assert roles.clock_edge.evidence == "cannot tell: data never moves inside a burst"
    assert roles.wiring() is None


def test_data_that_moves_in_both_phases_hides_the_active_edge():
    traffic = Traffic(31, 1)
    half, (latch,) = traffic.period // 2, traffic.latches
    for _ in range(6):
        for _ in range(8):
            late = bool(traffic.rng.integers(0, 2))
            if not late:
                traffic.put(traffic.data, traffic.now + half // 2)
            traffic.put(traffic.clock, traffic.now + half)
            if late:
                traffic.put(traffic.data, traffic.now + half + half // 2)
            traffic.put(traffic.clock, traffic.now + 2 * half)
            traffic.now += 2 * half
        traffic.put(latch, traffic.now + half)
        traffic.put(latch, traffic.now + 2 * half)
        traffic.now += 6 * half
    found = find_roles((LabelledCapture(capture=traffic.capture()),)).clock_edge
    assert "no phase is preferred" in found.evidence


def test_captures_must_be_of_the_same_lines():
    with pytest.raises(CaptureError, match="find roles: no capture; allowed is one or more of the same lines"):
        find_roles(())
    traffic = Traffic(1, 1)
    traffic.refresh(traffic.random_words())
    capture = traffic.capture()
    other = dataclasses.replace(capture, lines=("x", "y", "z"))
    with pytest.raises(CaptureError, match=r"find roles: lines \('x', 'y', 'z'\) after"):
        find_roles((LabelledCapture(capture=capture), LabelledCapture(capture=other)))


def test_wiring_leaves_out_latches_of_unknown_length():
    wiring = BusWiring(
        lines=("d", "c", "l"), data="d", clock="c", clock_rising=True, latch_rising=True, minimum_pulse_ns=0.0,
        devices=(BusDevice(latch="l", bits=8),),
    )  # fmt: skip
    assert wiring.latches == ("l",)
    assert wiring.chain("l") == (8,)
