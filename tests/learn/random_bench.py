"""A bench around a random device: source, device and adapter by their contracts, nothing behind them but this file."""

from __future__ import annotations

import itertools

import numpy as np

from harness.bench.contracts import Meanwhile, idle
from harness.errors import RefusedUnsafe
from harness.sweep import Bench
from harness.values import Capture, Identity, Setting, Waveform
from tests.learn.random_truth import Truth

BIT_NS = 1000
RATE_HZ = 500e3
SAMPLES = 4000
CYCLES = 17
MOST_VPK = 10.0
LEAST_VPK = 0.0005
NAMES = ("brown", "red", "orange", "yellow", "green", "blue", "violet", "grey")


class TickClock:
    """Time that passes only when somebody waits."""

    def __init__(self) -> None:
        self.time_s = 0.0

    def now_s(self) -> float:
        return self.time_s

    def utc(self) -> str:
        return "2026-11-30T00:00:00.000000Z"

    def sleep(self, seconds: float) -> None:
        self.time_s += seconds


class _Instrument:
    def identify(self) -> Identity:
        return Identity(manufacturer="Nobody", model="None", serial="1", firmware="1")

    def resynchronise(self) -> str:
        return "sound"

    def drain_errors(self) -> tuple[str, ...]:
        return ()

    def close(self) -> None:
        pass


class RandomSource(_Instrument):
    """Levels are off by a little, each decade by its own."""

    min_vpk, max_vpk = LEAST_VPK, MOST_VPK

    def __init__(self, truth: Truth) -> None:
        self._off = np.random.default_rng([truth.seed, 1]).normal(0.0, 0.0005, 12)
        self.level_vpk, self.on = 0.0, False

    def safe_off(self) -> None:
        self.on = False

    output_off = prepare = safe_off

    def set_frequency(self, frequency_hz: float) -> float:
        return frequency_hz

    def set_level(self, level_vpk: float) -> float:
        if level_vpk > MOST_VPK:
            raise RefusedUnsafe("too much", asked_vpk=level_vpk, limit_vpk=MOST_VPK)
        self.level_vpk = level_vpk
        return level_vpk

    def output_on(self) -> None:
        self.on = True

    @property
    def true_vpk(self) -> float:
        decade = int(np.floor(np.log10(self.level_vpk))) % 12
        return self.level_vpk * (1.0 + self._off[decade]) if self.on else 0.0


class RandomAdapter(_Instrument):
    """Sees what the device sends."""

    def __init__(self, truth: Truth) -> None:
        self._truth = truth
        count = 2 + truth.channels + int(truth.bystander)
        self._places = [int(place) for place in np.argsort(truth.lines[:count])]
        self.lines = NAMES[:count]
        self._frames: list[tuple[str, int]] = []

    def arm(self) -> None:
        self._frames = []

    def sent(self, bits: str, latch: int) -> None:
        """A word under a latch, by number; the bystander's comes last."""
        self._frames.append((bits, latch))

    def line(self, role: int) -> int:
        """The input that 0 data, 1 clock, 2... latches are soldered to."""
        return self._places[role]

    def fetch(self) -> Capture:
        rest = 0 if self._truth.clock_rising else 1 << self.line(1)
        now, level, events = 1000, rest, [(0, rest)]
        for bits, latch in self._frames:
            for bit in bits:
                data = 1 << self.line(0)
                level = (level | data) if bit == "1" else (level & ~data)
                events += [(now, level), (now + 400, level ^ 1 << self.line(1)), (now + 900, level)]
                now += BIT_NS
            events += [(now + 300, level | 1 << self.line(2 + latch)), (now + 700, level)]
            now += 3000
        changed = [events[0], *(b for a, b in itertools.pairwise(events) if a[1] != b[1])][1:]
        return Capture(
            times_ns=np.asarray([t for t, _ in changed], dtype=np.int64),
            levels=np.asarray([v for _, v in changed], dtype=np.uint8),
            initial=rest, lines=self.lines,
        )  # fmt: skip

    def load_word(self, latch: str, bits: int, value: int) -> None:
        raise AssertionError("nobody loads words here")


class RandomDevice(_Instrument):
    """Sends its words, has its gain, converts."""

    def __init__(self, truth: Truth, source: RandomSource, adapter: RandomAdapter) -> None:
        self._truth, self._source, self._adapter = truth, source, adapter
        self._state = dict.fromkeys(range(1, truth.channels + 1), (0, 0))
        self._noise = np.random.default_rng([truth.seed, 2])
        self._sequence = 0

    def prepare(self) -> None:
        for channel in self._state:
            self.select(Setting(channel, 0, 0))

    def select(self, setting: Setting, meanwhile: Meanwhile = idle) -> tuple[tuple[str, str], ...]:
        meanwhile()
        self._state[setting.channel] = (setting.coarse, setting.fine)
        for channel, place in self._state.items():
            self._adapter.sent(self._truth.word(*place), channel - 1)
        if self._truth.bystander:
            self._adapter.sent("1011001110", self._truth.channels)
        return ()

    def acquire(self, channel: int, meanwhile: Meanwhile = idle) -> Waveform:
        meanwhile()
        coarse, fine = self._state[channel]
        self._sequence += 1
        amplitude = self._truth.gain(channel, coarse, fine) * self._source.true_vpk
        angle = 2.0 * np.pi * CYCLES * np.arange(SAMPLES) / SAMPLES + self._noise.uniform(0.0, 6.28)
        analog = amplitude * np.sin(angle) + 1.7 + self._noise.normal(0.0, self._truth.noise, SAMPLES)
        codes = np.clip(np.rint(analog), -2048, 2047)
        codes = np.clip(np.rint(codes * self._truth.arithmetic_ratio(coarse)), -2048, 2047)
        return Waveform(
            codes=codes.astype(np.int16), sample_rate_hz=RATE_HZ, scale_v_per_code=1e-3, sequence=self._sequence
        )


def random_bench(truth: Truth) -> Bench:
    """Source, device and adapter of one truth."""
    source, adapter = RandomSource(truth), RandomAdapter(truth)
    device = RandomDevice(truth, source, adapter)
    return Bench(source=source, device=device, adapter=adapter, clock=TickClock())
