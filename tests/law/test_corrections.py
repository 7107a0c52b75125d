"""Corrections by closed forms, their sensitivities by finite differences; many settings in one pass."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from harness.config import Corrections
from harness.law import Conditions
from harness.law.corrections import factor, parameters_of, sensitivities
from harness.values import Setting

AT = Conditions(frequency_hz=50e3, temperature_c=33.0, fill_ratio=0.5)


@pytest.mark.parametrize(
    ("given", "gain", "input_vpk", "expected"),
    [
        ({}, 8.0, 0.0, 1.0),
        ({"source_ohm": 75.0, "load_ohm": 1000.0}, 8.0, 0.0, 1000.0 / 1075.0),  # -7.0 %
        ({"bandwidth_hz": 50e3}, 8.0, 0.0, 1.0 / math.sqrt(2.0)),
        ({"bandwidth_hz": 1e6}, 8.0, 0.0, 0.9987523388778446),  # f = corner/20: droop 0.12 %
        ({"bandwidth_hz": 500e3}, 8.0, 0.0, 0.9950371902099892),  # corner/10: 0.50 %
        ({"gain_bandwidth_hz": 4e6}, 80.0, 0.0, 1.0 / math.sqrt(2.0)),  # the pole stands at 50 kHz
        ({"temperature_percent_per_k": -0.33}, 8.0, 0.0, 1.0 - 0.033),
        # 1 / 3.3 / 10.3 / 20 mV peak on 2·25.85 mV: -0.009 / -0.10 / -0.99 / -3.74 % to first order
        ({"compression_vpk": 0.0517}, 8.0, 0.001, 1.0 - 9.353e-5),
        ({"compression_vpk": 0.0517}, 8.0, 0.0103, 1.0 - 0.00992278),
    ],
)
def test_closed_forms(given: dict[str, float], gain: float, input_vpk: float, expected: float) -> None:
    assert factor(Corrections.model_validate(given), gain, input_vpk, AT) == pytest.approx(expected, abs=1e-7)


def test_first_order_compression_against_the_tanh_itself() -> None:
    # Source: tanh compression at 1 / 3.3 / 10.3 mV peak -0.009 / -0.10 / -0.98 %, calculated for this project
    angle = 2.0 * np.pi * np.arange(4096) / 4096
    for level_vpk, tolerance in ((0.001, 1e-7), (0.0033, 1e-5), (0.0103, 3e-4)):
        fundamental = 2.0 * np.mean(np.tanh(level_vpk * np.sin(angle) / 0.0517) * np.sin(angle)) * 0.0517 / level_vpk
        first_order = factor(Corrections(compression_vpk=0.0517), 1.0, level_vpk, AT)
        assert first_order == pytest.approx(float(fundamental), abs=tolerance)


def test_sensitivities_against_finite_differences() -> None:
    given = {
        "source_ohm": 75.0, "load_ohm": 1000.0, "bandwidth_hz": 2e5, "gain_bandwidth_hz": 4e6,
        "compression_vpk": 0.0517,
    }  # fmt: skip
    corrections = Corrections.model_validate(given)
    gains = np.asarray([1.0, 8.0, 80.0])
    levels = np.asarray([0.02, 0.01, 0.001])
    slopes = sensitivities(corrections, gains, levels, AT)
    assert {parameter.name for parameter in parameters_of(corrections)} == set(slopes) == set(given)
    for name, value in given.items():
        logs = [
            np.log(factor(Corrections.model_validate({**given, name: value * (1.0 + by)}), gains, levels, AT))
            for by in (-1e-6, 1e-6)
        ]
        assert np.broadcast_to(slopes[name], (3,)) == pytest.approx((logs[1] - logs[0]) / 2e-6, rel=1e-6, abs=1e-9)


def corrected(hr4: dict[str, Any], place: int, **corrections: float) -> dict[str, Any]:
    hr4["stage"][place]["corrections"] = corrections
    return hr4


def test_a_pole_that_moves_with_the_gain_of_each_setting(hr4: dict, make_law) -> None:
    plain = make_law(hr4)
    law = make_law(corrected(hr4, 2, gain_bandwidth_hz=1e6))
    for fine in (0, 10, 20):
        before, after = (made.predict(Setting(1, 6, fine)) for made in (plain, law))
        assert before.state == after.state  # the firmware does not know
        gain = int(before.state.control("code")) * 128.0 / 255.0
        expected = before.gain_codes_per_v / math.sqrt(1.0 + (2125.0 * gain / 1e6) ** 2)
        assert after.gain_codes_per_v == pytest.approx(expected, rel=1e-12)


def test_compression_at_the_level_that_each_stage_sees(hr4: dict, make_law) -> None:
    plain = make_law(hr4)
    hr4["reference"] = {"fill_ratio": 0.8}
    law = make_law(corrected(hr4, 2, compression_vpk=0.5))
    setting = Setting(1, 9, 0)  # code 102
    # at the converter 0.8 · 4096 / 2000 / 2 V peak; in front of the loading twice that; over the stage's own gain
    level_vpk = 0.8 * 4096.0 / 2000.0 / 2.0 * 2.0 / (102.0 * 128.0 / 255.0)
    expected = plain.predict(setting).gain_codes_per_v * (1.0 - (level_vpk / 0.5) ** 2 / 4.0)
    assert law.predict(setting).gain_codes_per_v == pytest.approx(expected, rel=1e-12)
    assert law.gain_of({"attenuator": "1:1", "pregain": 0, "code": 0}) == 0.0


def test_other_conditions_on_request(hr4: dict, make_law) -> None:
    law = make_law(corrected(hr4, 1, temperature_percent_per_k=0.05))
    base = law.predict_many().gains_codes_per_v
    warm = law.predict_many(conditions=Conditions(frequency_hz=2125.0, temperature_c=43.0)).gains_codes_per_v
    assert warm / base == pytest.approx(np.full(231, 1.01))


def test_one_pass_is_the_same_as_one_by_one(hr4: dict, make_law) -> None:
    hr4["stage"][2]["tolerance"] = {"bits": 0.1}
    law = make_law(corrected(hr4, 2, gain_bandwidth_hz=1e6, compression_vpk=0.5))
    settings = [Setting(2, 3, 4), Setting(1, 10, 20), Setting(4, 0, 0)]
    many = law.predict_many(law.index(settings))
    assert many.gains_codes_per_v == pytest.approx([law.predict(s).gain_codes_per_v for s in settings], rel=1e-15)
    whole = law.predict_many()
    assert whole.gains_codes_per_v[law.index(settings)] == pytest.approx(many.gains_codes_per_v)
    assert whole.independent_percent[law.index(settings)] == pytest.approx(many.independent_percent)
