"""Student's coverage factors, against the layout of JCGM 100:2008, Table G.2."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from harness.judge.uncertainty import coverage_factor, student_factor

# Source: JCGM 100:2008 (GUM), Table G.2, printed to two decimals (from memory); six decimals calculated here.
TABLE = Path(__file__).parent / "data" / "student-t-table-g2.csv"
ROWS = list(csv.DictReader(line for line in TABLE.read_text("utf-8").splitlines() if not line.startswith("#")))
COLUMNS = [name for name in ROWS[0] if name != "nu"]

# As printed in Table G.2, from memory: check before use as a limit.
PRINTED = {(1, 95): 12.71, (2, 95): 4.30, (3, 95): 3.18, (9, 95): 2.26, (16, 99): 2.92, (19, 95): 2.09, (50, 95): 2.01}


@pytest.mark.parametrize("row", ROWS, ids=[f"nu={row['nu']}" for row in ROWS])
def test_the_table_to_six_decimals(row):
    for column in COLUMNS:
        probability = float(column.removeprefix("p").replace("_", ".")) / 100
        # 5e-7 is half of the last digit of the table; 1e-6 relative where the numbers are large.
        expected = pytest.approx(float(row[column]), rel=1e-6, abs=1e-6)
        assert float(student_factor(float(row["nu"]), probability_ratio=probability)) == expected


@pytest.mark.parametrize(("place", "printed"), PRINTED.items())
def test_the_printed_two_decimals(place, printed):
    assert float(student_factor(place[0], probability_ratio=place[1] / 100)) == pytest.approx(printed, abs=0.00501)


def test_without_a_probability_the_factor_is_two():
    assert float(coverage_factor(3.0)) == 2.0
    assert float(coverage_factor(math.inf)) == 2.0
    # 95.45 % is the probability of two standard deviations of a normal distribution: 2.000002.
    assert float(coverage_factor(math.inf, probability_ratio=0.9545)) == pytest.approx(2.0, abs=3e-6)


def test_whole_degrees_of_freedom_cut_down():
    assert float(student_factor(16.75, probability_ratio=0.99, whole_dof=True)) == pytest.approx(2.920782, abs=1e-6)
