"""What a record shows: its grid, its noise, whether it is plain."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.errors import FitFailed, NotFinite, TooFewCycles
from harness.judge.waveform import Record, see
from tests.judge_waveform.synthetic import FREQUENCY_HZ, RATE_HZ, Unit, record


def made(samples, **changes):
    where = {"sample_rate_hz": RATE_HZ, "frequency_hz": FREQUENCY_HZ, "drive_vpk": 0.5}
    return Record(samples=samples, **where | changes)


def one(seed=1, **changes):
    return record(Unit(**changes.pop("unit", {})), np.random.default_rng(seed), gain=2e3, **changes)


def test_plain_codes():
    seen = see(one())
    assert (seen.grid, seen.plain, seen.not_plain) == (1.0, True, "")
    assert seen.gain_per_v == pytest.approx(2e3, rel=1e-3)
    assert seen.noise_steps == pytest.approx(0.5, abs=0.02)
    assert seen.effective == pytest.approx(10_000, rel=0.02)
    assert np.array_equal(seen.codes, seen.steps)


def test_multiplied_floats_lie_on_their_grid():
    for ratio in (1.05, 2.5, 0.0123):
        seen = see(one(arithmetic=ratio, output="float", drive_vpk=0.7))
        assert seen.grid == pytest.approx(ratio, rel=1e-9)
        assert seen.codes is None
        assert seen.plain
        assert seen.noise_steps == pytest.approx(0.5, abs=0.02)


def test_grid_survives_values_of_single_precision():
    plain = one(arithmetic=1.05, output="float")
    seen = see(made(plain.samples.astype(np.float32).astype(np.float64)))
    assert seen.grid == pytest.approx(1.05, rel=1e-6)


def test_averaged_floats_lie_on_no_grid():
    smooth = np.convolve(one().samples.astype(float), [0.21, 0.58, 0.21], mode="same")
    seen = see(made(smooth))
    assert (seen.grid, seen.steps, seen.noise_steps) == (0.0, None, 0.0)
    assert "lie on no grid" in seen.not_plain


def test_mode_is_believed_first():
    seen = see(one(mode="average"))
    assert not seen.plain
    assert seen.not_plain.startswith("acquisition mode is 'average'; allowed is 'sample'")


def test_interpolated_codes_are_not_plain():
    few = one(unit={"converter_code": 3.0}).samples[:5000].astype(float)
    filled = np.rint(np.interp(np.arange(9999) / 2, np.arange(5000), few)).astype(np.int64)
    assert "interpolated" in see(made(filled, frequency_hz=FREQUENCY_HZ / 2)).not_plain


def test_correlated_noise_counts_less():
    rng = np.random.default_rng(3)
    angle = 2 * np.pi * FREQUENCY_HZ / RATE_HZ * np.arange(10_000)
    noise = np.convolve(rng.normal(0, 4.0, 10_003), np.ones(4) / 2, mode="valid")
    seen = see(made(np.rint(900 * np.sin(angle) + noise).astype(np.int64)))
    # ρ = 3/4, 1/2, 1/4: 1 + 2·Σρ² = 2.75.
    assert seen.effective == pytest.approx(10_000 / 2.75, rel=0.06)


@pytest.mark.parametrize("name", ["sample_rate_hz", "frequency_hz", "drive_vpk"])
@pytest.mark.parametrize("bad", [math.nan, 0.0, 9.91e37])
def test_record_wants_positive_numbers(name, bad):
    with pytest.raises(NotFinite, match=f"waveform test: {name} is .*allowed is a positive finite number"):
        made(np.zeros(300), **{name: bad})


def test_record_is_read_only():
    kept = one()
    with pytest.raises(ValueError, match="read-only"):
        kept.samples[0] = 1


def test_unfit_records_are_refused():
    with pytest.raises(FitFailed, match="the record is constant; allowed is a record with a signal"):
        see(made(np.zeros(300, dtype=np.int64)))
    with pytest.raises(TooFewCycles, match="cycles"):
        see(made(np.arange(300), frequency_hz=1000.0))
    with pytest.raises(FitFailed, match="199 samples; allowed are 200 or more"):
        see(made(one().samples[:199].copy()))
    with pytest.raises(NotFinite, match="sample 5 is nan"):
        see(made(np.where(np.arange(300) == 5, np.nan, 1.0)))
