"""Steps of a gain proportional to its code, and facts of the trade about such gains, against the linear-code stage."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import pytest

from harness.law.stages.linear_code import LinearCode
from harness.law.stages.pregain_bit import PregainBit
from harness.values import db_from_ratio, ratio_from_db

DATA = Path(__file__).parent / "data" / "linear-in-code-steps-law.csv"
ROWS = [
    (int(row["n"]), float(row["step_db"]), float(row["total_db_re_code_1"]))
    for row in csv.DictReader(line for line in DATA.read_text().splitlines() if not line.startswith("#"))
]
STAGE = LinearCode(control="code", bits=13, gain_per_code=0.37)


def gain_db(code: int) -> float:
    return db_from_ratio(STAGE.gain_ratio({"code": code}))


@pytest.mark.parametrize(("code", "step_db", "total_db"), ROWS)
def test_step_and_total(code: int, step_db: float, total_db: float) -> None:
    # Source: closed form 20·log10((n + 1)/n); the table is given to 1e-9 dB
    assert gain_db(code + 1) - gain_db(code) == pytest.approx(step_db, abs=1e-9)
    assert gain_db(code) - gain_db(1) == pytest.approx(total_db, abs=1e-9)


@pytest.mark.parametrize(
    ("lowest", "highest", "span_db", "largest_step_db"),
    [
        # Source: common practice, no source; numbers recomputed for this project to 0.001 dB
        (5, 127, 28.097, 1.584),
        (4, 127, 30.035, 1.938),
        (10, 127, 22.076, 0.828),
        (9, 127, 22.991, 0.915),
    ],
)
def test_span_and_largest_step_of_a_7_bit_vernier(
    lowest: int, highest: int, span_db: float, largest_step_db: float
) -> None:
    gains_db = [gain_db(code) for code in range(lowest, highest + 1)]
    assert gains_db[-1] - gains_db[0] == pytest.approx(span_db, abs=5e-4)
    assert max(b - a for a, b in pairwise(gains_db)) == pytest.approx(largest_step_db, abs=5e-4)


def test_smallest_step_of_7_bits() -> None:
    assert gain_db(127) - gain_db(126) == pytest.approx(0.0687, abs=5e-5)  # common practice, no source; recomputed


def test_a_pregain_bit_of_17_db() -> None:
    # Source: common practice, no source; recomputed. Code 127 at +17 dB: code 5 at -11.097 dB; 17 dB more 5.903
    pregain = PregainBit(control="p", ratio=ratio_from_db(17.0))
    vernier = LinearCode(control="c", bits=7, gain_per_code=ratio_from_db(17.0) / 127)
    assert pregain.ratio == pytest.approx(7.079457844, rel=1e-9)

    def total_db(bit: int, code: int) -> float:
        return db_from_ratio(pregain.gain_ratio({"p": bit}) * vernier.gain_ratio({"c": code}))

    assert total_db(0, 127) == pytest.approx(17.0, abs=1e-9)
    assert total_db(0, 5) == pytest.approx(-11.097, abs=5e-4)
    assert total_db(1, 5) == pytest.approx(5.903, abs=5e-4)
    assert total_db(1, 127) == pytest.approx(34.0, abs=1e-9)
