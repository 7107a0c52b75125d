"""Gain at another frequency: one pole by hand for the Skerry HR-4."""

from __future__ import annotations

import math

import pytest

from harness.config import Response
from harness.law import frequency_ratio
from harness.values import Setting


def controls(law, coarse: int, fine: int) -> dict[str, str | int]:
    return dict(law.predict(Setting(1, coarse, fine)).state.controls)


def test_a_pole_at_low_gain_and_one_that_falls_with_the_gain(law) -> None:
    pole = Response(stages=("pre-gain", "variable gain", "output loading"), bandwidth_hz=2.0e6, gain_bandwidth_hz=1.0e8)
    # Most sensitive: 4 · 255 · 128/255 · 0.5 = 256 V/V, a pole at 390.6 kHz beside one of 2 MHz: 1/fc = 2.6084e-6 s.
    per_hz = math.hypot(1 / 2.0e6, 256 / 1.0e8)
    expected = math.hypot(1, 2125 * per_hz) / math.hypot(1, 1.0e5 * per_hz)
    assert expected == pytest.approx(0.9677, abs=2e-4)
    found = frequency_ratio(law, pole, controls(law, 9, 20), frequency_hz=1.0e5)
    assert found == pytest.approx(expected, rel=1e-12)
    # The attenuator stands in front and moves no pole: code 41 of each of its states is 10.29 V/V.
    ratios = [frequency_ratio(law, pole, controls(law, coarse, 0), frequency_hz=1.0e5) for coarse in (0, 3)]
    per_hz = math.hypot(1 / 2.0e6, 41 * 128 / 255 * 0.5 / 1.0e8)
    assert ratios == pytest.approx([math.hypot(1, 2125 * per_hz) / math.hypot(1, 1.0e5 * per_hz)] * 2, rel=1e-12)


def test_without_a_response_only_the_stages_own_poles_count(hr4, make_law) -> None:
    hr4.pop("response")
    assert frequency_ratio(make_law(hr4), None, controls(make_law(hr4), 0, 0), frequency_hz=1.0e5) == 1.0
    hr4["stage"][1]["corrections"] = {"bandwidth_hz": 1.0e5}
    law = make_law(hr4)
    expected = math.hypot(1, 2125 / 1.0e5) / math.sqrt(2)
    found = frequency_ratio(law, None, controls(law, 0, 0), frequency_hz=1.0e5)
    assert found == pytest.approx(expected, rel=1e-12)


def test_stages_of_the_response_exist(hr4, problems_of) -> None:
    hr4["response"]["stages"][1] = "varible gain"
    problem = problems_of(hr4)["response.stages[1]"]
    assert problem.got == "'varible gain'"
    assert problem.allowed == "names of stages: input attenuator, pre-gain, variable gain, output loading"
