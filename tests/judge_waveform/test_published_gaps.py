"""Numbers of code gaps, noise and record length. All values: calculated for this project, by simulation or formula."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.errors import NotFinite
from harness.judge.waveform import (
    double_ratio,
    gap_share,
    noise_ratio,
    power_table,
    reach,
    samples_needed,
    samples_to_fill,
)

FREQUENCY = 0.0371937  # cycles a sample


def shares(ratio, *, samples, noise, dnl, average=1, interpolate=1, trials=4):
    """Share of empty inner codes, 8 bits, A = 100: arithmetic gain on whole codes."""
    rng = np.random.default_rng(88)
    found = []
    for _ in range(trials):
        errors = rng.uniform(-dnl, dnl, 600) / 2
        ideal = 100.0 / ratio * np.sin(2 * np.pi * FREQUENCY * np.arange(samples) + rng.uniform(0, 6))
        ideal = ideal + rng.normal(0.0, noise, samples)
        floor = np.floor(ideal)
        codes = floor + (ideal - floor >= 0.5 + errors[floor.astype(int) + 300])
        codes = np.floor(codes * ratio + 0.5)  # halves up; the printed 0.20 after interpolation hangs on it
        if average > 1:
            codes = np.rint(codes[: samples // average * average].reshape(-1, average).mean(axis=1))
        if interpolate > 1:
            places = np.arange(interpolate * (codes.size - 1)) / interpolate
            codes = np.rint(np.interp(places, np.arange(codes.size), codes))
        counts = np.bincount((codes - codes.min()).astype(int))
        edge = int(0.05 * counts.size) + 3
        found.append(np.mean(counts[edge:-edge] == 0))
    return np.array(found)


@pytest.mark.parametrize(
    ("ratio", "printed"),
    # 8 bits, A = 100, noise 0.3 to 1, DNL 0 to 0.25, 2 000 and 10 000 samples; three digits; the end effects of some
    # 190 codes and gaps by chance at 2 000 samples allow 0.02.
    [(1.0, 0.0), (1.05, 0.050), (1.11, 0.099), (1.25, 0.199), (2.0, 0.498), (2.5, 0.597), (4.0, 0.746), (5.0, 0.796)],
)
@pytest.mark.parametrize("samples", [2000, 10_000])
def test_gap_share_of_arithmetic(ratio, printed, samples):
    found = shares(ratio, samples=samples, noise=0.5, dnl=0.25)
    assert found.mean() == pytest.approx(printed, abs=0.02)
    assert gap_share(ratio) == pytest.approx(printed, abs=0.005)


@pytest.mark.parametrize(
    ("ratio", "most"),
    # After averaging 8 (1 250 points left): upper ends of the printed ranges, noise 0.3 to 1.
    [(1.0, 0.13), (1.05, 0.15), (1.11, 0.14), (1.25, 0.12), (2.0, 0.10), (2.5, 0.08), (4.0, 0.07), (5.0, 0.05)],
)
def test_averaging_fills_the_gaps(ratio, most):
    # Averages of eight neighbours of a moving sine: the printed ranges hold for a few trials, so a margin of 0.03.
    for noise in (0.5, 1.0):
        assert shares(ratio, samples=10_000, noise=noise, dnl=0.25, average=8).mean() <= most + 0.03


@pytest.mark.parametrize(
    ("ratio", "printed"),
    # After linear interpolation ×2: no gaps up to m = 2, 1 - 2/m above.
    [(1.0, 0.0), (1.05, 0.0), (1.11, 0.0), (1.25, 0.0), (2.0, 0.0), (2.5, 0.20), (4.0, 0.50), (5.0, 0.60)],
)
def test_interpolation_halves_what_is_left(ratio, printed):
    found = shares(ratio, samples=10_000, noise=0.5, dnl=0.25, interpolate=2)
    assert found.mean() == pytest.approx(printed, abs=0.03)
    assert max(0.0, 1 - 2 / ratio) == pytest.approx(printed, abs=1e-12)


@pytest.mark.parametrize(
    ("amplitude", "samples"),
    # N >= π·A·ln(C/α), α = 1 %, printed to two or three digits.
    [(20, 520), (50, 1440), (100, 3100), (200, 6650), (400, 14_200), (1536, 60_900)],
)
def test_samples_to_fill_every_code(amplitude, samples):
    assert samples_to_fill(float(amplitude)) == pytest.approx(samples, rel=0.005)


def twelve_bit_hits(ratio, arithmetic, trials):
    """Predicted-empty codes K and hits H, 12 bits, fill 0.75, 10 000 samples, noise 0.5, DNL 0.25."""
    rng = np.random.default_rng(1212)
    low, high = -1450, 1450
    empty = reach(ratio, np.rint, low=low, high=high) == 0
    hits = []
    for _ in range(trials):
        size = 1536.0 / ratio if arithmetic else 1536.0
        ideal = size * np.sin(2 * np.pi * FREQUENCY * np.arange(10_000) + rng.uniform(0, 6))
        codes = np.rint(ideal + rng.normal(0.0, 0.5, 10_000))
        codes = np.rint(codes * ratio) if arithmetic else codes
        inside = codes[(codes >= low) & (codes <= high)].astype(int) - low
        hits.append(int(np.bincount(inside, minlength=empty.size)[empty].sum()))
    return int(empty.sum()), hits


@pytest.mark.parametrize(
    ("ratio", "places", "least", "most"),
    # Hits of hardware, printed ranges; arithmetic gives none. K follows from the inner codes chosen: ±1.
    [(1.0015, 4, 2, 19), (1.003, 8, 11, 29), (1.01, None, 56, 92), (1.05, None, 334, 425)],
)
def test_hits_in_predicted_empty_codes(ratio, places, least, most):
    count, hits = twelve_bit_hits(ratio, arithmetic=False, trials=60)
    if places is not None:
        assert count == pytest.approx(places, abs=1)
    spread = (most - least) / 4
    assert least - spread <= min(hits)
    assert max(hits) <= most + spread
    assert np.mean(hits) == pytest.approx((least + most) / 2, rel=0.25)
    assert twelve_bit_hits(ratio, arithmetic=True, trials=10)[1] == [0] * 10


def test_perfect_hardware_shows_empty_codes_by_chance():
    # 4.8 % on average, up to 6.5 % in 1 200 records.
    rng = np.random.default_rng(48)
    found = []
    for _ in range(60):
        ideal = 1536.0 * np.sin(2 * np.pi * FREQUENCY * np.arange(10_000) + rng.uniform(0, 6))
        codes = np.rint(ideal + rng.normal(0.0, 0.7, 10_000)).astype(int)
        counts = np.bincount(codes - codes.min())[30:-30]
        found.append(np.mean(counts == 0))
    assert np.mean(found) == pytest.approx(0.048, abs=0.012)
    assert max(found) < 0.068


@pytest.mark.parametrize(
    ("ratio", "dnl", "share"),
    # Share of codes called double (count over running median above 1.6): 0.12 at 0.9 and 0.24 at 0.8 without DNL;
    # DNL 0.25 lowers 0.24 to 0.16 and raises the null from 0.01 to 0.04.
    [(0.9, 0.0, 0.12), (0.8, 0.0, 0.24), (0.8, 0.25, 0.16), (1.0, 0.0, 0.01), (1.0, 0.25, 0.04)],
)
def test_share_of_doubles(ratio, dnl, share):
    rng = np.random.default_rng(22)
    found = []
    for _ in range(20):
        # DNL as rms width error of each code: widths from independent normal draws, transitions their sum.
        widths = np.maximum(1.0 + rng.normal(0.0, dnl, 400), 0.05) if dnl else np.ones(400)
        transitions = np.cumsum(widths)
        transitions *= 400 / transitions[-1]
        ideal = 100.0 / ratio * np.sin(2 * np.pi * FREQUENCY * np.arange(10_000) + rng.uniform(0, 6))
        codes = np.searchsorted(transitions - 200.0, ideal + rng.normal(0.0, 0.5, 10_000)) - 200
        found.append(double_ratio(np.rint(codes * ratio).astype(np.int64)))
    assert np.mean(found) == pytest.approx(share, abs=0.045)


def test_few_codes_have_no_doubles():
    assert double_ratio(np.arange(10)) == 0.0


@pytest.mark.parametrize(
    ("converter_over_front", "printed", "samples"),
    # m = 2: ratio of the noise at the input, and samples for 90 % power at 5 % two-sided.
    [
        (2, 0.632, 50),
        (1, 0.791, 190),
        (0.5, 0.922, 1600),
        (0.3, 0.969, 10_300),
        (0.2, 0.985, 49_000),
        (0.1, 0.996, 757_000),
    ],
)
def test_noise_at_the_input(converter_over_front, printed, samples):
    ratio = noise_ratio(float(converter_over_front), 2.0)
    assert ratio == pytest.approx(printed, abs=5.1e-4)
    assert samples_needed(ratio) == pytest.approx(samples, rel=0.015)


def test_power_table_holds_what_the_tests_hold():
    rows = power_table()
    by_size = {(row.bits, row.samples): row for row in rows}
    twelve = by_size[12, 10_000]
    assert twelve.amplitude_code == 1536.0
    # Smallest provable magnification about 0.15 % above one.
    assert twelve.gaps_m == pytest.approx(1.0015, abs=3e-4)
    assert 1.02 < twelve.step_m < 1.05
    # ρ = 1: ln ratio = -3.24/100.
    assert noise_ratio(1.0, twelve.noise_m) == pytest.approx(math.exp(-0.0324), rel=1e-6)
    assert by_size[12, 60_000].gaps_m < twelve.gaps_m
    assert power_table(((12, 10_000),), converter_over_front=0.1)[0].noise_m is None
    assert power_table(((16, 2_000),))[0].step_m is None
    assert power_table(((12, 5),))[0].gaps_m is None


def test_power_refuses_what_is_no_number():
    with pytest.raises(NotFinite, match=r"power table: fill_ratio 0\.0"):
        power_table(fill_ratio=0.0)
    with pytest.raises(NotFinite, match="converter_over_front nan"):
        power_table(converter_over_front=math.nan)
    with pytest.raises(NotFinite, match=r"power: amplitude_code is 1\.0; allowed is a finite number above 1"):
        samples_to_fill(1.0)
