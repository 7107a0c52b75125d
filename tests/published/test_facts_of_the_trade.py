"""Decibel tables, linear-in-code steps, the 1-2-5 sequence and the facts of the trade."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from harness.values import db_from_ratio, db_from_ratios, ratio_from_db

DATA = Path(__file__).parent / "data"


def table(name):
    """Rows of a table; its source stands in the lines that begin with #."""
    text = (DATA / name).read_text("utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def steps_db(codes):
    """Steps between neighbouring codes of a gain proportional to the code."""
    codes = np.asarray(codes, dtype=np.float64)
    return db_from_ratios(codes[1:] / codes[:-1])


@pytest.mark.parametrize("row", table("db-ratio.csv"), ids=lambda row: f"{row['db']}dB")
def test_decibel_table(row):
    # Source: definition of the decibel (IEC 60027-3, from memory), calculated for this project; nine digits in print.
    level_db, ratio = float(row["db"]), float(row["voltage_ratio"])
    assert ratio_from_db(level_db) == pytest.approx(ratio, rel=1e-8)
    assert db_from_ratio(ratio) == pytest.approx(level_db, abs=1e-7)
    assert db_from_ratio(float(row["power_ratio"])) / 2 == pytest.approx(level_db, abs=1e-7)


@pytest.mark.parametrize(
    ("level_db", "ratio"),
    # Source: calculated for this project; relative tolerance 1e-9.
    [(0.1, 1.011579454), (1.0, 1.122018454), (3.0, 1.412537545), (6.0, 1.995262315), (17.0, 7.079457844)],
)
def test_decibel_values(level_db, ratio):
    assert ratio_from_db(level_db) == pytest.approx(ratio, rel=1e-9)


@pytest.mark.parametrize("row", table("linear-in-code-steps.csv"), ids=lambda row: f"code-{row['n']}")
def test_linear_in_code_table(row):
    # Source: 20·log10((n + 1)/n), calculated for this project; nine decimals are printed.
    code = int(row["n"])
    assert db_from_ratio((code + 1) / code) == pytest.approx(float(row["step_db"]), abs=1e-9)
    assert db_from_ratio(float(code)) == pytest.approx(float(row["total_db_re_code_1"]), abs=1e-9)


def test_one_two_five_table():
    # Source: sequence ISO 3 (from memory), decibels calculated for this project; six decimals are printed.
    rows = table("one-two-five.csv")
    values = [float(row["value"]) for row in rows]
    for row, value in zip(rows, values, strict=True):
        assert db_from_ratio(value) == pytest.approx(float(row["total_db_re_1"]), abs=1e-6)
    for row, lower, upper in zip(rows[1:], values[:-1], values[1:], strict=True):
        assert upper / lower == pytest.approx(float(row["ratio_to_previous"]), rel=1e-12)
        assert db_from_ratio(upper / lower) == pytest.approx(float(row["step_db"]), abs=1e-6)


def test_fourteen_bit_range():
    # Source: calculated for this project.
    assert db_from_ratio(2.0**14) == pytest.approx(84.288399, abs=1e-6)
    assert db_from_ratio(16384 / 16383) == pytest.approx(0.000530, abs=1e-6)


@pytest.mark.parametrize(
    ("attenuation_db", "code"),
    # Source: round(256·10^(-dB/20)), 8 bits, calculated for this project.
    [(0.5, 242), (1, 228), (1.5, 215), (2, 203), (3, 181), (6, 128), (12, 64), (20, 26)],
)
def test_code_of_an_attenuation(attenuation_db, code):
    assert round(256 * ratio_from_db(-attenuation_db)) == code


@pytest.mark.parametrize(
    ("lowest", "highest", "span_db", "largest_db", "limit_db"),
    # Common practice, no source; exact figures calculated for this project. The largest step is the lowest one.
    # Seven bits: 28 dB with every step under 2 dB, 22 dB with every step at or under 1 dB; then eight bits.
    [
        (5, 127, 28.097, 1.584, 2.0),
        (4, 127, 30.035, 1.938, 2.0),
        (10, 127, 22.076, 0.828, 1.0),
        (9, 127, 22.991, 0.915, 1.0),
        (4, 255, 36.09, 1.938, 2.0),
        (9, 255, 29.05, 0.915, 1.0),
        (17, 255, 23.52, 0.496, 0.5),
    ],
)
def test_span_of_a_linear_vernier(lowest, highest, span_db, largest_db, limit_db):
    steps = steps_db(range(lowest, highest + 1))
    assert steps.sum() == pytest.approx(span_db, abs=0.006 if highest == 255 else 0.0006)
    assert db_from_ratio(highest / lowest) == pytest.approx(steps.sum(), abs=1e-9)
    assert steps.argmax() == 0
    assert steps.max() == pytest.approx(largest_db, abs=0.0006)
    assert steps.max() < limit_db


@pytest.mark.parametrize(("lowest", "limit_db"), [(3, 2.0), (8, 1.0), (16, 0.5)])
def test_one_code_lower_would_break_the_step_limit(lowest, limit_db):
    assert steps_db([lowest, lowest + 1])[0] > limit_db


def test_smallest_step_of_seven_bits():
    assert steps_db([126, 127])[0] == pytest.approx(0.0687, abs=5e-5)


def test_pregain_bit_of_seventeen_decibels():
    # Common practice, no source: -11 … 17 dB below the bit, 6 … 34 dB above it: 45 dB in all, 11 dB of overlap.
    pregain = ratio_from_db(17.0)
    assert pregain == pytest.approx(7.0795, abs=5e-5)
    low, high = (ratio_from_db(-11.0), ratio_from_db(17.0)), (ratio_from_db(6.0), ratio_from_db(34.0))
    for below, above in zip(low, high, strict=True):
        assert pregain * below == pytest.approx(above, rel=1e-12)
    assert db_from_ratio(high[1] / low[0]) == pytest.approx(45.0, abs=1e-9)
    assert db_from_ratio(low[1] / high[0]) == pytest.approx(11.0, abs=1e-9)
    assert db_from_ratio(ratio_from_db(17.0) * 5 / 127) == pytest.approx(-11.097, abs=5e-4)


def test_relative_uncertainty_in_decibels():
    # Source: u(dB) = 20/ln 10 = 8.685889638 times the relative uncertainty, calculated for this project.
    small = 1e-6
    assert (db_from_ratio(1 + small) - db_from_ratio(1 - small)) / (2 * small) == pytest.approx(8.685889638, rel=1e-8)
