"""Each flag of a record through the judge: what it does to the setting, and that its words reach the result."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable

import numpy as np
import pytest

from harness.judge.flags import record_flags
from harness.judge.record_fit import RecordFit
from harness.values import Outcome, Quality, Reading, Rung, RunResult, SineFit, Waveform
from tests.judge.run_builder import FULL, judged, outcomes, reading_of, reasons, setup_at

FIRST = (1, 3, 0)
RATE_HZ, LENGTH = FULL.device.acquisition.sample_rate_hz, FULL.device.acquisition.samples
FREQUENCY_HZ = FULL.device.acquisition.frequency_hz
ANGLE = 2.0 * np.pi * FREQUENCY_HZ / RATE_HZ * np.arange(LENGTH)
Wave = Callable[[Rung], np.ndarray]


def amplitude_code(rung: Rung) -> float:
    return rung.drive_vpk * FULL.input_ratio * rung.prediction.gain_codes_per_v


def sine(rung: Rung, *, noise_code: float = 0.6, length: int = LENGTH, limit: float = 1e9) -> np.ndarray:
    """A record as the converter gives it: noise, then rounding; a phase and a noise of its own for every rung."""
    angle = ANGLE[:length] + 0.7 + 0.37 * rung.index
    clean = np.clip(amplitude_code(rung) * np.sin(angle), -limit, limit)
    return np.rint(clean + np.random.default_rng(rung.index).normal(0.0, noise_code, length)).astype(np.int16)


def run_of(wave: Wave, **changes: object) -> RunResult:
    setup = setup_at(FIRST, limits=("gain",))
    return judged(setup, [replaced(rung, wave(rung), **changes) for rung in setup.rungs])


def replaced(rung: Rung, codes: np.ndarray, **changes: object) -> Reading:
    made = reading_of(rung)
    assert made.waveform is not None
    return dataclasses.replace(made, waveform=dataclasses.replace(made.waveform, codes=codes, **changes))


def test_sound_records_have_no_flag() -> None:
    result = run_of(sine)
    assert result.settings[0].flags == ()
    assert result.flags == ()
    assert result.verdict is Outcome.PASS


def test_little_noise_is_said_and_the_gain_is_judged() -> None:
    result = run_of(lambda rung: sine(rung, noise_code=0.1))
    assert result.settings[0].flags == ("low-noise",)
    (note,) = result.flags
    assert (note.name, note.settings) == ("low-noise", 1)
    assert note.example.startswith("ch1 2V 100 %: noise 0.1")
    assert "rounding can bias an amplitude" in note.example
    assert result.verdict is Outcome.PASS
    rows = {row.name: row.standard_percent for row in result.budgets[0].rows}
    # What no averaging mends is in the budget; with noise enough it is nothing.
    assert rows["rounding"] > 1e-4
    assert {row.name: row for row in run_of(sine).budgets[0].rows}["rounding"].standard_percent < 1e-6


def test_a_bend_is_flagged() -> None:
    def bent(rung: Rung) -> np.ndarray:
        clean = sine(rung, noise_code=0.0) / amplitude_code(rung)
        bend = 4 * 0.016 * clean**3
        return np.rint(
            amplitude_code(rung) * 1.05 * (clean - bend) + np.random.default_rng(1).normal(size=LENGTH)
        ).astype(np.int16)

    result = run_of(bent)
    # The harmonic stands in the residual, whose neighbouring samples are then alike.
    assert result.settings[0].flags == ("third-harmonic", "correlated-noise", "rms-differs")
    assert "allowed is -40 dB" in result.flags[0].example
    assert outcomes(result, "measurable") == {result.settings[0].setting: "PASS"}


@pytest.mark.parametrize(
    ("wave", "words"),
    [
        (lambda rung: sine(rung, limit=0.85 * amplitude_code(rung)), "flat-top: .* samples within .* lower the level"),
        (
            lambda rung: np.repeat(sine(rung)[: LENGTH // 2 + 1], 2)[:LENGTH],
            "repeated-samples: samples repeat their neighbour in groups of 2",
        ),
        (
            lambda rung: np.rint(
                np.interp(np.arange(LENGTH), np.arange(0, LENGTH + 4, 4), sine_at(rung, np.arange(0, LENGTH + 4, 4)))
            ).astype(np.int16),
            "interpolated-samples: one sample in 4 stands out",
        ),
    ],
    ids=["flat-top", "repeated", "interpolated"],
)
def test_records_that_must_not_be_judged_are_invalid(wave: Wave, words: str) -> None:
    result = run_of(wave)
    assert result.verdict is Outcome.INVALID
    assert result.settings[0].measured_codes_per_v is None
    (first, *_) = reasons(result, "measurable")
    assert re.search(words, first), first


def sine_at(rung: Rung, places: np.ndarray) -> np.ndarray:
    angle = 2.0 * np.pi * FREQUENCY_HZ / RATE_HZ * places + 0.7 + 0.37 * rung.index
    noise = np.random.default_rng(rung.index).normal(0.0, 2.0, places.size)
    return np.asarray(amplitude_code(rung) * np.sin(angle) + noise)


def test_a_record_read_twice_is_invalid_the_second_time() -> None:
    setup = setup_at(FIRST, limits=("gain",))
    up, down = setup.rungs
    result = judged(setup, [replaced(up, sine(up)), replaced(down, sine(up))])
    assert result.verdict is Outcome.INVALID
    assert any(
        "(down): stale-record: all 4000 codes equal the previous record" in r for r in reasons(result, "measurable")
    )


def test_few_cycles_are_flagged_and_what_cannot_be_tested_is_said() -> None:
    few = run_of(lambda rung: sine(rung, length=2000))
    assert few.settings[0].flags == ("too-few-cycles",)
    assert "8.5 cycles of 2125 Hz in the record; allowed are 10 or more" in few.flags[0].example
    assert few.verdict is Outcome.PASS
    # A third of the sample rate: the third harmonic falls on the mean of the record and tells nothing.
    codes = np.rint(100.0 * np.sin(2.0 * np.pi * np.arange(3000) / 3.0 + 0.3)).astype(np.int16)
    codes[::7] += 1
    wave = Waveform(codes=codes, sample_rate_hz=3000.0, scale_v_per_code=1.0, sequence=1)
    fit = SineFit(amplitude_code=100.0, offset_code=0.0, phase_rad=0.3, noise_code=0.5, samples=3000)
    quality = Quality(fill_ratio=0.5, railed=0, code_spacing=1, clipped=False, underfilled=False, reason="")
    flags = record_flags(wave, RecordFit(fit=fit, frequency_hz=1000.0), quality, previous=None)
    assert [flag.name for flag in flags if "clip before the converter not tested" in flag.reason] == ["untested"]

