"""Published straight-line calibrations through the core that fits a law: GUM H.3, ISO/TS 28037, NBS Handbook 91."""

from __future__ import annotations

import csv
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from harness.law.fitting import linear_model, solve

DATA = Path(__file__).parent / "data"
LINES = tomllib.loads((DATA / "law-line-fit-examples.toml").read_text("utf-8"))


def line(x, y, **how):
    x = np.asarray(x, dtype=np.float64)
    return solve(linear_model(np.stack([np.ones_like(x), x], axis=1)), np.zeros(2), np.asarray(y, float), **how)


def variance_at(covariance: np.ndarray, x: float) -> float:
    return float(covariance[0, 0] + 2.0 * x * covariance[0, 1] + x * x * covariance[1, 1])


def test_gum_h3_thermometer() -> None:
    # Source: JCGM 100:2008, H.3; digits beyond print recomputed for this project, tolerance 1e-9
    text = (DATA / "law-gum-h3.csv").read_text("utf-8").splitlines()
    table = list(csv.DictReader(row for row in text if not row.startswith("#")))
    t, b = (np.asarray([float(row[key]) for row in table]) for key in ("t", "b"))
    found = line(t - 20.0, b, scale="estimated")
    y1, y2 = found.parameters
    s1, s2 = np.sqrt(np.diag(found.covariance))
    assert found.dof == 9
    assert y1 == pytest.approx(-0.1712037901313, rel=1e-9)
    assert y2 == pytest.approx(0.00218269773989, rel=1e-9)
    assert s1 == pytest.approx(0.00287759783516, rel=1e-9)
    assert s2 == pytest.approx(0.000667938773228, rel=1e-9)
    assert found.covariance[0, 1] / (s1 * s2) == pytest.approx(-0.930429603093, rel=1e-9)
    assert found.scale == pytest.approx(0.00349756396351, rel=1e-9)
    assert y1 + 10.0 * y2 == pytest.approx(-0.149376812732, rel=1e-9)
    assert math.sqrt(variance_at(found.covariance, 10.0)) == pytest.approx(0.00413859575285, rel=1e-9)
    # as printed
    assert (round(y1, 4), round(s1, 4), round(y2, 5), round(s2, 5)) == (-0.1712, 0.0029, 0.00218, 0.00067)


@pytest.mark.parametrize("name", ["iso_28037_equal_weights", "iso_28037_unequal_weights"])
def test_iso_28037_clause_6(name: str) -> None:
    # Source: ISO/TS 28037:2010, clause 6, published; uncertainties are given, so the scatter does not count
    example = LINES[name]
    found = line(example["x"], example["y"], u=np.asarray(example["u_y"], float), scale="given")
    a, b = (float(value) for value in found.parameters)
    (u_a, cov), (_, u_b) = found.covariance
    tolerance = example["tolerance_relative"]
    for key, value in (("a", a), ("b", b), ("u_a", math.sqrt(u_a)), ("u_b", math.sqrt(u_b)), ("cov_ab", cov),
                       ("chi2", found.chi2)):  # fmt: skip
        assert value == pytest.approx(example["calculated"][key], rel=tolerance), key
        assert value == pytest.approx(example["published"][key], abs=6e-4 if key == "chi2" else 6e-5), key
    inverse = example["inverse"]
    x0 = (inverse["y0"] - a) / b
    u_x0 = math.sqrt(inverse["u_y0"] ** 2 + variance_at(found.covariance, x0)) / b
    assert x0 == pytest.approx(inverse["x0"], rel=tolerance)
    assert u_x0 == pytest.approx(inverse["u_x0"], rel=tolerance)


def test_natrella_youngs_modulus() -> None:
    # Source: M. G. Natrella, NBS Handbook 91, 5-4.1, published
    example = LINES["natrella_5_4_1"]
    wanted = example["calculated"]
    found = line(example["x"], example["y"], scale="estimated")
    assert found.parameters[0] == pytest.approx(wanted["b0"], rel=1e-7)
    assert found.parameters[1] == pytest.approx(wanted["b1"], rel=1e-7)
    assert found.scale == pytest.approx(wanted["s"], rel=1e-7)
    assert found.covariance[0, 0] == pytest.approx(wanted["var_b0"], rel=1e-7)
    assert variance_at(found.covariance, 1200.0) == pytest.approx(wanted["var_line_at_1200"], rel=1e-7)
    new_point = variance_at(found.covariance, 750.0) + found.scale**2
    assert new_point == pytest.approx(wanted["var_new_point_at_750"], rel=1e-7)
