"""What an ideal converter makes of a small sine: the fundamental of a rounded sine."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from harness.amplitude import fit_sine3, fit_sines3, rounded_amplitude_code

# Source of the table: theory of quantization (Blachman, IEEE Trans. Inf. Theory 1985; Gray 1990; Widrow and Kollár),
# formula from memory, numbers calculated for this project; see the head of the file.
TABLE = Path(__file__).parent / "data" / "rounded-sine-fundamental.csv"
ROWS = [
    {name: float(value) for name, value in row.items()}
    for row in csv.DictReader(line for line in TABLE.read_text("utf-8").splitlines() if not line.startswith("#"))
]
IDS = [f"{row['amplitude_lsb']:g}" for row in ROWS]
INCOMMENSURATE = (math.sqrt(5) - 1) / 2 / 7  # cycles a sample: no short pattern of phases ever repeats


def fundamental(amplitude):
    """Closed form: the sum over the thresholds k - 1/2 below the amplitude."""
    total = 0.0
    k = 1
    while k - 0.5 < amplitude:
        total += math.sqrt(1 - ((k - 0.5) / amplitude) ** 2)
        k += 1
    return 4 / math.pi * total


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_closed_form_gives_the_table(row):
    assert fundamental(row["amplitude_lsb"]) == pytest.approx(row["amplitude_1_lsb"], abs=1e-9)
    error_percent = 100 * (fundamental(row["amplitude_lsb"]) / row["amplitude_lsb"] - 1)
    assert error_percent == pytest.approx(row["error_percent_noise_0"], abs=5.1e-5)


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_series_gives_the_table(row):
    amplitude = row["amplitude_lsb"]
    assert rounded_amplitude_code(amplitude) == pytest.approx(row["amplitude_1_lsb"], abs=1e-9)
    for noise, column in ((0.0, "0"), (0.2, "0p2"), (0.3, "0p3"), (0.5, "0p5")):
        error_percent = 100 * (rounded_amplitude_code(amplitude, noise_code=noise) / amplitude - 1)
        assert error_percent == pytest.approx(row[f"error_percent_noise_{column}"], abs=5.1e-5)


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_fit_of_a_rounded_sine_finds_the_fundamental(row):
    # Tolerance 1e-3 code steps with 1e5 samples at an incommensurate frequency (head of the table), as int16.
    angle = 2 * np.pi * INCOMMENSURATE * np.arange(100_000)
    for phase_rad in (0.1, 1.3, 2.9):
        codes = np.round(row["amplitude_lsb"] * np.sin(angle + phase_rad)).astype(np.int16)
        found = fit_sine3(codes, sample_rate_hz=1.0, frequency_hz=INCOMMENSURATE)
        assert found.amplitude_code == pytest.approx(row["amplitude_1_lsb"], abs=1e-3)


@pytest.mark.parametrize("noise_name", ["0p2", "0p3", "0p5"])
def test_noise_linearises_as_the_table_says(noise_name):
    # Gaussian noise before the rounding; the mean of 100 records of 2000 samples, tolerance four standard deviations.
    noise = float(noise_name.replace("p", "."))
    rng = np.random.default_rng(300)
    angle = 2 * np.pi * INCOMMENSURATE * np.arange(2000)
    for row in ROWS[:8]:
        clean = row["amplitude_lsb"] * np.sin(angle + rng.uniform(-np.pi, np.pi, (100, 1)))
        codes = np.round(clean + rng.normal(0.0, noise, clean.shape))
        found = fit_sines3(codes, sample_rate_hz=1.0, frequency_hz=INCOMMENSURATE).amplitude_code
        expected = row["amplitude_lsb"] * (1 + row[f"error_percent_noise_{noise_name}"] / 100)
        # The amplitude of a noisy sine is biased up by σ²/(N·A) at most: the length of a noisy vector.
        bias = (noise**2 + 1 / 12) / (2000 * row["amplitude_lsb"])
        assert found.mean() == pytest.approx(expected, abs=4 * found.std() / 10 + bias + 2e-3)
