"""Decoding of packed samples against one numpy pass that finds where samples change.

Run: python -m tests.benchmarks.decode
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from harness.bus import BusDevice, BusStream, BusWiring, PackedReader

RATE_HZ = 100e6
CLOCK_HZ = 1e6
SAMPLES = 100_000_000
CHUNK = 1 << 23
LATCHES = ("latch-1", "latch-2", "latch-3", "latch-4", "latch-bias")
WIRING = BusWiring(
    lines=("data", "clock", *LATCHES),
    data="data",
    clock="clock",
    clock_rising=True,
    latch_rising=True,
    minimum_pulse_ns=30.0,
    devices=tuple(BusDevice(latch=name, bits=12 if name == "latch-bias" else 9) for name in LATCHES),
)


def traffic(samples: int, *, busy_ratio: float, period: int = int(RATE_HZ / CLOCK_HZ)) -> np.ndarray:
    """Refreshes of all five devices back to back, then quiet, so that the bus is busy for a share of the time."""
    rng = np.random.default_rng(5)
    setup, half = period // 5, period // 2
    refresh = []
    for k, device in enumerate(WIRING.devices):
        bits = rng.integers(0, 2, device.bits).astype(np.uint8)
        frame = np.zeros((device.bits + 2, period), dtype=np.uint8)
        frame[:-2, half:] = 2
        held = np.concatenate((bits, bits[-1:], bits[-1:]))
        before = np.concatenate((np.zeros(1, np.uint8), held[:-1]))
        frame[:, : half - setup] |= before[:, None]
        frame[:, half - setup :] |= held[:, None]
        frame[-2, half : half + max(period // 3, 4)] |= np.uint8(4 << k)
        frame[-1, half:] &= np.uint8(0xFE)
        refresh.append(frame.reshape(-1))
    burst = np.concatenate(refresh)
    cycle = np.concatenate((burst, np.zeros(round(burst.size * (1 / busy_ratio - 1)), dtype=np.uint8)))
    return np.tile(cycle, samples // cycle.size + 1)[:samples]


def decode_packed(samples: np.ndarray, *, rate_hz: float = RATE_HZ) -> BusStream:
    """Words, distances and counts of a whole array of samples."""
    reader = PackedReader(rate_hz)
    stream = None
    for start in range(0, samples.size, CHUNK):
        piece = reader.take(samples[start : start + CHUNK])
        if stream is None:
            stream = BusStream(WIRING, initial=reader.initial, tick_ns=reader.tick_ns)
        stream.feed(piece)
    stream.close()
    return stream


def one_pass(samples: np.ndarray) -> np.ndarray:
    """The yardstick."""
    return np.flatnonzero(samples[1:] != samples[:-1])


def fastest_s(work: Callable[[], object], repeats: int) -> float:
    """Shortest time of some runs."""
    times_s = []
    for _ in range(repeats):
        start_s = time.perf_counter()
        work()
        times_s.append(time.perf_counter() - start_s)
    return min(times_s)


def measure(samples: int = SAMPLES, repeats: int = 5) -> dict[str, float]:
    """Ratios to the yardstick, time over time.

    `decode_packed`: the demo device's bus at 100 million samples a second, one refresh every half millisecond.
    `decode_packed_busy`: the same bus without a pause, the worst that its clock allows.
    `decode_packed_dense`: no pause and only 20 samples a clock period.
    """
    found = {}
    for name, busy_ratio, period in (
        ("decode_packed", 0.15, 100),
        ("decode_packed_busy", 1.0, 100),
        ("decode_packed_dense", 1.0, 20),
    ):
        record = traffic(samples, busy_ratio=busy_ratio, period=period)
        rate_hz = CLOCK_HZ * period
        decoded_s = fastest_s(lambda record=record, rate_hz=rate_hz: decode_packed(record, rate_hz=rate_hz), repeats)
        found[name] = decoded_s / fastest_s(lambda record=record: one_pass(record), repeats)
    return found


if __name__ == "__main__":
    for name, ratio in measure().items():
        print(f"{name:<24} {ratio:.2f}")
