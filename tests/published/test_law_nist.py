"""The least-squares core against certified results of the NIST Statistical Reference Datasets (public domain).

Digits asked: what a sound double-precision algorithm reaches, for estimates and for their standard deviations.
"""

from __future__ import annotations

import csv
import math
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest

from harness.law.fitting import linear_model, solve

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    lines = (line for line in (DATA / name).read_text("utf-8").splitlines() if not line.startswith("#"))
    return list(csv.DictReader(lines))


CERTIFIED: dict[str, dict[str, tuple[float, float]]] = defaultdict(dict)
for row in rows("law-nist-strd-certified.csv"):
    CERTIFIED[row["dataset"]][row["quantity"]] = (float(row["value"]), float(row["standard_deviation"] or "nan"))
SMALL: dict[str, list[tuple[float, float]]] = defaultdict(list)
for row in rows("law-nist-strd-small-data.csv"):
    SMALL[row["dataset"]].append((float(row["x"]), float(row["y"])))


def digits(found: float, certified: float) -> float:
    """Log relative error; of a certified 0 the log absolute error."""
    error = abs(found - certified) / (abs(certified) or 1.0)
    return 15.0 if error < 1e-15 else -math.log10(error)


def check(dataset: str, solution, names: list[str], *, value_digits: float, sd_digits: float) -> None:
    spreads = np.sqrt(np.diag(solution.covariance))
    for name, value, sd in zip(names, solution.parameters, spreads, strict=True):
        certified_value, certified_sd = CERTIFIED[dataset][name]
        assert digits(float(value), certified_value) >= value_digits, (dataset, name)
        assert digits(float(sd), certified_sd) >= sd_digits, (dataset, name, "sd")
    residual_sd = CERTIFIED[dataset]["resid_sd"][0]
    assert digits(solution.scale, residual_sd) >= sd_digits
    assert solution.converged


def fit_linear(matrix: np.ndarray, y: np.ndarray):
    return solve(linear_model(matrix), np.zeros(matrix.shape[1]), y, scale="estimated")


def test_norris() -> None:
    table = rows("law-nist-norris.csv")
    x, y = (np.asarray([float(row[key]) for row in table]) for key in ("x", "y"))
    solution = fit_linear(np.stack([np.ones_like(x), x], axis=1), y)
    check("Norris", solution, ["B0", "B1"], value_digits=12, sd_digits=12)


@pytest.mark.parametrize("dataset", ["NoInt1", "NoInt2"])
def test_lines_through_zero(dataset: str) -> None:
    x, y = np.asarray(SMALL[dataset]).T
    check(dataset, fit_linear(x[:, np.newaxis], y), ["B1"], value_digits=14, sd_digits=13)


# Wampler: x = 0 to 20; y = sum of x**p, p = 0 to 5 (2: of (x/10)**p); 3 to 5 add 1, 100, 10 000 times delta
DELTA = [759.0, -2048.0, 2048.0, -2048.0, 2523.0, -2048.0, 2048.0, -2048.0, 1838.0, -2048.0, 2048.0]
DELTA = [*DELTA, *DELTA[-2::-1]]


@pytest.mark.parametrize(
    ("number", "delta", "value_digits", "sd_digits"), [(1, 0, 9, 9), (2, 0, 9, 9), (3, 1, 9, 12), (4, 100, 7, 12),
                                                        (5, 10_000, 5, 12)],
)  # fmt: skip
def test_wampler(number: int, delta: float, value_digits: int, sd_digits: int) -> None:
    x = np.arange(21.0)
    powers = x[:, np.newaxis] ** np.arange(6)
    y = ((x / 10.0)[:, np.newaxis] ** np.arange(6)).sum(axis=1) if number == 2 else powers.sum(axis=1)
    solution = fit_linear(powers, y + delta * np.asarray(DELTA))
    if delta:
        names = [f"B{power}" for power in range(6)]
        check(f"Wampler{number}", solution, names, value_digits=value_digits, sd_digits=sd_digits)
    else:
        certified = [CERTIFIED[f"Wampler{number}"][f"B{power}"][0] for power in range(6)]
        assert min(map(digits, map(float, solution.parameters), certified)) >= value_digits
        assert solution.scale < 1e-7  # certified 0: rounding of sums up to 3e6


def test_longley() -> None:
    table = rows("law-nist-longley.csv")
    matrix = np.asarray([[1.0, *(float(row[f"x{k}"]) for k in range(1, 7))] for row in table])
    solution = fit_linear(matrix, np.asarray([float(row["y"]) for row in table]))
    check("Longley", solution, [f"B{k}" for k in range(7)], value_digits=10, sd_digits=10)


def saturating(x: np.ndarray):
    def model(p: np.ndarray):
        with np.errstate(over="ignore"):
            left = np.exp(-p[1] * x)
        return p[0] * (1.0 - left), np.stack([1.0 - left, p[0] * x * left], axis=1)

    return model


def power(x: np.ndarray):
    return lambda p: (p[0] * x ** p[1], np.stack([x ** p[1], p[0] * x ** p[1] * np.log(x)], axis=1))


@pytest.mark.parametrize(
    ("dataset", "make", "start", "value_digits", "sd_digits"),
    [
        ("Misra1a", saturating, (500.0, 0.0001), 8, 6),
        ("Misra1a", saturating, (250.0, 0.0005), 8, 6),
        ("BoxBOD", saturating, (100.0, 0.75), 8, 6),
        ("DanWood", power, (1.0, 5.0), 9, 7),
        ("DanWood", power, (0.7, 4.0), 9, 7),
    ],
)
def test_nonlinear(dataset: str, make, start: tuple[float, float], value_digits: int, sd_digits: int) -> None:
    x, y = np.asarray(SMALL[dataset]).T
    solution = solve(make(x), np.asarray(start), y, scale="estimated")
    check(dataset, solution, ["b1", "b2"], value_digits=value_digits, sd_digits=sd_digits)
