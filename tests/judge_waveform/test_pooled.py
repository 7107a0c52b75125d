"""The codes of many records together: owed hits by closed form, missing and tied codes found, good converters never."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from harness.judge.waveform import PooledCodes, Record, Seen, hits_needed, records_needed, see

LOW, HIGH = -128, 127
SAMPLES, CYCLES, RATE_HZ = 4000, 17, 500.0e3
TEST_HZ = CYCLES * RATE_HZ / SAMPLES


def converted(volts: np.ndarray, *, missing: tuple[int, ...] = (), lost: int = 0) -> np.ndarray:
    codes = np.rint(volts).astype(np.int64)
    codes += np.isin(codes, missing)
    return codes & ~(2**lost - 1)


def record(
    seed: int, *, amplitude: float = 100.0, noise: float = 0.3, mode: str = "sample", **converter: object
) -> Seen:
    rng = np.random.default_rng(seed)
    angle = 2.0 * np.pi * TEST_HZ / RATE_HZ * np.arange(SAMPLES) + rng.uniform(0.0, 2.0 * np.pi)
    codes = converted(amplitude * np.sin(angle) + rng.normal(0.0, noise, SAMPLES), **converter)
    made = Record(samples=codes, sample_rate_hz=RATE_HZ, frequency_hz=TEST_HZ, drive_vpk=1.0, mode=mode)
    return see(made)


def pooled(*seen: Seen, low: int = LOW, high: int = HIGH) -> PooledCodes:
    return PooledCodes(channel=1, seen=seen, low_code=low, high_code=high)


def test_hits_needed_are_those_of_a_poisson_count() -> None:
    # 4096 codes, one in 10,000 runs with a false alarm: exp(-E) = 1e-4 / 4096.
    assert hits_needed(4096) == pytest.approx(17.528, abs=1e-3)
    assert 4096 * math.exp(-hits_needed(4096)) == pytest.approx(1e-4)


def test_records_needed_by_the_density_of_a_sine_in_its_middle() -> None:
    # 4000 samples over pi·2048 are 0.622 a code and record; 17.528 / 0.622 = 28.2.
    assert records_needed(4096, 4000) == 29
    assert records_needed(256, 4000) == 2


def test_each_code_is_owed_what_a_sine_gives_it() -> None:
    """n/pi·(asin((k + 1/2)/A) - asin((k - 1/2)/A)), the middle of the record; noise moves nothing there."""
    one = pooled(*(record(seed) for seed in range(8)))
    edges = (np.arange(-60, 62) - 0.5) / 100.0
    closed = 8.0 * SAMPLES / np.pi * np.diff(np.arcsin(edges))
    assert one._tally[1][-60 - LOW : 61 - LOW] == pytest.approx(closed, rel=0.03)
    assert one._tally[0].sum() == pytest.approx(one._tally[1].sum(), rel=0.002)


def test_a_good_converter_lacks_nothing_and_what_lies_outside_the_records_is_not_looked_at() -> None:
    one = pooled(*(record(seed, amplitude=60.0 + seed) for seed in range(8)))
    assert one.enough
    assert one.missing.tolist() == []
    assert one.spacing == 1
    codes = np.flatnonzero(one.looked_at) + LOW
    assert -67 <= codes.min() <= -55
    assert 55 <= codes.max() <= 67


@pytest.mark.parametrize("missing", [(5,), (-40, 0, 33)])
def test_missing_codes_are_those_that_are_named(missing: tuple[int, ...]) -> None:
    one = pooled(*(record(seed, missing=missing) for seed in range(8)))
    assert tuple(one.missing.tolist()) == missing
    assert one.spacing == 1


# Two codes side by side: the sample that would read the first comes as the second, which never comes either.
def test_codes_side_by_side() -> None:
    one = pooled(*(record(seed, missing=(7,)) for seed in range(4)), *(record(seed, missing=(8,)) for seed in range(4)))
    assert one.missing.tolist() == []


@pytest.mark.parametrize("lost", [1, 3])
def test_tied_bits_leave_every_second_or_eighth_code(lost: int) -> None:
    one = pooled(record(1, lost=lost), record(2, lost=lost))
    assert one.enough
    assert one.spacing == 2**lost
    assert not np.any(one.missing % 2**lost == 0)
    assert one.missing.size / one.looked_at.sum() == pytest.approx(1.0 - 2.0**-lost, abs=0.02)


def test_few_hits_say_nothing() -> None:
    wide = {"low": -2048, "high": 2047}
    # 4000 samples over pi·1500 codes: 0.85 a code and record.
    few = pooled(*(record(seed, amplitude=1500.0) for seed in range(18)), **wide)
    assert not few.enough
    assert few.missing.tolist() == []
    many = pooled(*(record(seed, amplitude=1500.0 - seed) for seed in range(29)), **wide)
    assert many.enough
    assert many.missing.tolist() == []


def test_codes_that_a_record_should_reach_and_does_not_are_the_amplifiers_matter() -> None:
    """Held off its ends by a clamp, a record of 100 fits a sine of 110."""
    seen = []
    for seed in range(8):
        one = record(seed)
        seen.append(see(one.record, fit=dataclasses.replace(one.fit, amplitude_code=110.0)))
    held = pooled(*seen)
    assert held.enough
    assert held.missing.tolist() == []
    assert 95 <= np.flatnonzero(held.looked_at).max() + LOW <= 101


def test_an_uneven_converter_lacks_nothing() -> None:
    """Transitions off by up to 0.15 codes, so widths by up to 0.3, and no noise."""
    rng = np.random.default_rng(5)
    shift = rng.uniform(-0.15, 0.15, 4097)
    angle = 2.0 * np.pi * TEST_HZ / RATE_HZ * np.arange(SAMPLES)
    seen = []
    for _ in range(29):
        volts = 1536.0 * np.sin(angle + rng.uniform(0.0, 2.0 * np.pi))
        low = np.floor(volts).astype(np.int64)
        codes = low + (volts - low >= 0.5 + shift[low + 2048])
        seen.append(see(Record(samples=codes, sample_rate_hz=RATE_HZ, frequency_hz=TEST_HZ, drive_vpk=1.0)))
    one = pooled(*seen, low=-2048, high=2047)
    assert one.enough
    assert one.missing.tolist() == []


def test_what_is_no_plain_record_does_not_count() -> None:
    assert not pooled(*(record(seed, mode="average", missing=(5,)) for seed in range(8))).enough
    assert not pooled().enough
    assert pooled().spacing == 1
