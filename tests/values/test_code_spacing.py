"""Codes behind scaled values: records made of codes, and records that are none."""

from __future__ import annotations

import numpy as np
import pytest

from harness.values import common_spacing


def sine(amplitude: float = 900.0, samples: int = 2000, seed: int = 3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    angle = 2.0 * np.pi * 17 * np.arange(samples) / samples
    return np.rint(amplitude * np.sin(angle) + 1.7 + rng.normal(0.0, 0.6, samples))


@pytest.mark.parametrize("step", [4.8828125e-3, 2.441e-6, 0.37])
@pytest.mark.parametrize("offset", [0.0, 0.5, -0.3])
def test_the_step_and_every_code_come_back_from_single_precision(step: float, offset: float) -> None:
    codes = sine()
    values = ((codes + offset) * step).astype(np.float32).astype(np.float64)
    found = common_spacing(values)
    assert found.step == pytest.approx(step, rel=1e-6)
    assert np.array_equal(found.codes(values) - found.codes(values)[0], codes - codes[0])
    assert abs(found.offset) <= 0.5001 * step
    assert "different values lie within" in found.proof


def test_values_as_text_with_few_digits_still_show_it() -> None:
    values = np.asarray([float(f"{value:.4g}") for value in sine(300.0) * 1.234e-3])
    assert common_spacing(values).step == pytest.approx(1.234e-3, rel=1e-3)


def test_a_record_without_neighbouring_codes_shows_their_greatest_common_divisor() -> None:
    """Codes 6, 10, 15 and their sums: no two of them are neighbours everywhere."""
    codes = np.asarray([0.0, 6.0, 10.0, 16.0, 31.0, 46.0, 61.0, 71.0, 77.0, 92.0])
    assert common_spacing(codes * 0.01).step == pytest.approx(0.01)


def test_every_second_code_alone_looks_like_a_converter_of_half_the_codes() -> None:
    assert common_spacing(2.0 * sine()).step == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("values", "says"),
    [
        (np.zeros(100), "only 1 different values"),
        (np.asarray([]), "only 0 different values"),
        (np.arange(7.0), "only 7 different values, 8 are needed"),
        (np.random.default_rng(1).normal(size=500), "500 different values lie on no common spacing"),
        (sine()[:-2] + sine()[1:-1] / np.sqrt(2.0) + sine()[2:] / np.pi, "interpolated, averaged or filtered"),
    ],
)
def test_values_without_a_spacing_say_so(values: np.ndarray, says: str) -> None:
    found = common_spacing(values)
    assert found.step is None
    assert says in found.proof
    assert found.codes(values).size == 0
