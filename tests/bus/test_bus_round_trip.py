"""Any words on any wiring come back, whatever happens between the clock edges."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.bus import BusDevice, BusWiring, decode
from harness.values import Capture

CALM = settings(derandomize=True, deadline=None)  # the same examples on every machine, however busy
LEAST_NS = 30
NAMES = ("a", "b", "c", "d", "e")


@st.composite
def wirings(draw):
    count = draw(st.integers(1, 5))
    lines = draw(st.permutations(["data", "clock", *NAMES[:count]]))
    return BusWiring(
        lines=tuple(lines),
        data="data",
        clock="clock",
        clock_rising=draw(st.booleans()),
        latch_rising=draw(st.booleans()),
        minimum_pulse_ns=float(LEAST_NS),
        devices=tuple(BusDevice(latch=name, bits=draw(st.integers(1, 16))) for name in NAMES[:count]),
    )


class Player:
    """Plays words on a bus, with idle data and glitches, by its own bookkeeping."""

    def __init__(self, wiring, seed):
        self.wiring, self.rng = wiring, np.random.default_rng(seed)
        self.level = dict.fromkeys(wiring.lines, 0)
        self.level["clock"] = int(not wiring.clock_rising)
        for device in wiring.devices:
            self.level[device.latch] = int(not wiring.latch_rising)
        self.initial = self.packed()
        self.now_ns = 0
        self.events = []
        self.glitches = 0

    def packed(self):
        return sum(self.level[line] << bit for bit, line in enumerate(self.wiring.lines))

    def toggle(self, line, after_ns):
        self.now_ns += after_ns
        self.level[line] ^= 1
        self.events.append((self.now_ns, self.packed()))

    def pause_ns(self):
        return int(self.rng.integers(LEAST_NS, 10 * LEAST_NS))

    def disturb(self):
        """Idle data and glitches on any line, each well away from everything else."""
        for _ in range(self.rng.integers(0, 4)):
            self.toggle("data", self.pause_ns())
        if self.rng.random() < 0.3:
            line = str(self.rng.choice(self.wiring.lines))
            self.toggle(line, self.pause_ns())
            self.toggle(line, int(self.rng.integers(0, LEAST_NS)))
            self.glitches += 1

    def play(self, latch, bits, value):
        for bit in f"{value:0{bits}b}":
            self.disturb()
            if self.level["data"] != int(bit):
                self.toggle("data", self.pause_ns())
            self.toggle("clock", self.pause_ns())
            self.toggle("clock", self.pause_ns())
        self.disturb()
        self.toggle(latch, self.pause_ns())
        self.toggle(latch, self.pause_ns())

    def capture(self):
        times, levels = zip(*self.events, strict=True)
        return Capture(
            times_ns=np.array(times, dtype=np.int64),
            levels=np.array(levels, dtype=np.uint8),
            initial=self.initial,
            lines=self.wiring.lines,
        )


@CALM
@given(wiring=wirings(), seed=st.integers(0, 2**32 - 1), plan=st.data())
def test_words_come_back(wiring, seed, plan):
    player = Player(wiring, seed)
    programme = []
    for _ in range(plan.draw(st.integers(1, 6))):
        device = plan.draw(st.sampled_from(wiring.devices))
        value = plan.draw(st.integers(0, 2**device.bits - 1))
        programme.append(((device.latch,), device.bits, value, device.bits, ""))
        player.play(device.latch, device.bits, value)
    decoding = decode(player.capture(), wiring)
    found = [(word.latches, word.bits, word.value, word.clocks_since, word.note) for word in decoding.words]
    assert found == programme
    assert decoding.glitches == player.glitches
    assert decoding.clock_edges == sum(entry[1] for entry in programme)
    assert decoding.unlatched_bits == 0
    assert decoding.clocks_under_latch == 0
    assert decoding.complete
