"""The firmware's rules, each by hand on one small device."""

from __future__ import annotations

from typing import Any

import pytest

from harness.law import GainLaw
from harness.values import Setting


def small(rule: str, *, stage: dict[str, Any] | None = None, **firmware: Any) -> dict[str, Any]:
    """One range of 4 V, 12 bits, 1000 codes a volt; a code of 4 bits, 0.1 V/V each: 100 codes/V a code."""
    return {
        "kind": "device", "version": 1, "name": "small", "channels": 1,
        "change": [{"version": 1, "date": "2026-11-25", "owner": "tests", "reason": "test"}],
        "input": {"impedance_ohm": 1e6, "limit": [{"impedance_ohm": 1e6, "max_vpk": 30.0}]},
        "converter": {"bits": 12, "low_code": -2048, "high_code": 2047, "codes_per_v": 1000.0},
        "acquisition": {"sample_rate_hz": 1e5, "samples": 1000, "cycles": 7},
        "coarse": [{"name": "4V", "full_scale_vpp": 10.24}],
        "fine": {"first_percent": 100.0, "last_percent": 40.0, "count": 4},
        "stage": [stage or {"name": "a", "kind": "linear-code", "control": "code", "bits": 4, "gain_per_code": 0.1}],
        "firmware": {"rule": rule, "code": "code", **firmware},
        "settle": {"coarse_s": 0.0, "fine_s": 0.0},
    }  # fmt: skip


# Full scales 10.24 V at 100, 80, 60, 40 %: wanted 400, 500, 666.7, 1000 codes/V: exact codes 4, 5, 6.667, 10.
def found(law: GainLaw) -> list[tuple[Any, float, float]]:
    states = [law.predict(Setting(1, 0, fine)) for fine in range(4)]
    return [
        (p.state.control("code"), round(p.gain_codes_per_v, 6), round(p.state.arithmetic_ratio, 6)) for p in states
    ]


def test_nearest_code(make_law) -> None:
    assert found(make_law(small("nearest-code"))) == [(4, 400, 1), (5, 500, 1), (7, 700, 1), (10, 1000, 1)]


def test_floor_never_exceeds_the_wanted_gain(make_law) -> None:
    assert found(make_law(small("floor"))) == [(4, 400, 1), (5, 500, 1), (6, 600, 1), (10, 1000, 1)]


def test_floor_of_a_gain_that_falls_with_the_code(make_law) -> None:
    # 4000/code codes/V: wanted 400 .. 1000 would be codes 10, 8, 6, 4 exactly; here all gains are 3 % less
    stage = {"name": "a", "kind": "mdac-feedback", "control": "code", "bits": 4, "feedback_ratio": 0.25}
    data = small("floor", stage=stage)
    data["coarse"][0]["full_scale_vpp"] = 10.24 / 0.97  # 388 ...: exact codes 10.31, 8.25, 6.19, 4.12
    law = make_law(data)
    assert [state[0] for state in found(law)] == [11, 9, 7, 5]
    wanted = [4096.0 / p.full_scale_vpp for p in law.predictions()]
    for prediction, most in zip(law.predictions(), wanted, strict=True):
        assert prediction.gain_codes_per_v <= most


def test_mixed_makes_up_the_rest_by_arithmetic(make_law) -> None:
    law = make_law(small("mixed"))
    assert found(law) == [(4, 400, 1), (5, 500, 1), (7, 666.666667, 0.952381), (10, 1000, 1)]
    assert law.gain_of({"code": 7}) == pytest.approx(700.0)  # the hardware alone


def test_mixed_with_few_hardware_steps(make_law) -> None:
    law = make_law(small("mixed", codes=[4, 8]))
    # 5 is nearer to 4 than to 8, 6.667 nearer to 8; 10 is beyond: the last step and ×1.25
    assert found(law) == [(4, 400, 1), (4, 500, 1.25), (8, 666.666667, 0.833333), (8, 1000, 1.25)]
    assert law.predict_many().gains_codes_per_v == pytest.approx([400.0, 500.0, 2000.0 / 3.0, 1000.0])


def test_nearest_of_few_codes(make_law) -> None:
    assert [state[0] for state in found(make_law(small("nearest-code", codes=[8, 4, 12])))] == [4, 4, 8, 12]
    assert [state[0] for state in found(make_law(small("floor", codes=[4, 8, 12])))] == [4, 4, 4, 8]


def test_a_table_for_all_ranges_or_for_each(make_law) -> None:
    assert [state[0] for state in found(make_law(small("table", table=[3, 5, 7, 11])))] == [3, 5, 7, 11]
    assert [state[0] for state in found(make_law(small("table", table={"4V": [3, 5, 7, 12]})))] == [3, 5, 7, 12]


def test_a_table_of_named_positions(make_law) -> None:
    stage: dict[str, Any] = {"name": "a", "kind": "switched-gain", "control": "code"}
    stage["gains"] = {"1": 0.4, "2": 0.5, "5": 0.7, "10": 1.0}
    law = make_law(small("table", stage=stage, table=["1", "2", "5", "10"]))
    assert found(law) == [("1", 400, 1), ("2", 500, 1), ("5", 700, 1), ("10", 1000, 1)]
    assert law.words is None


def test_an_arithmetic_stage_counts_as_declared_arithmetic(make_law) -> None:
    data = small("nearest-code")
    data["stage"].append({"name": "zoom", "kind": "arithmetic", "control": "zoom", "ratios": {"off": 1.0, "on": 2.0}})
    data["coarse"] = [
        {"name": "4V", "full_scale_vpp": 10.24, "controls": {"zoom": "off"}},
        {"name": "2V", "full_scale_vpp": 5.12, "controls": {"zoom": "on"}},
    ]
    law = make_law(data)
    hardware, doubled = law.predict(Setting(1, 0, 1)), law.predict(Setting(1, 1, 1))
    assert (hardware.state.control("code"), doubled.state.control("code")) == (5, 5)
    assert (hardware.state.arithmetic_ratio, doubled.state.arithmetic_ratio) == (1.0, 2.0)
    assert doubled.gain_codes_per_v == 2.0 * hardware.gain_codes_per_v
    assert law.gain_of(dict(doubled.state.controls)) == pytest.approx(hardware.gain_codes_per_v)


def test_gain_inside_the_converter_is_gain_of_the_hardware(make_law) -> None:
    data = small("nearest-code")
    data["stage"].append({"name": "reference", "kind": "converter-gain", "control": "r", "gains": {"1": 1.0, "2": 2.0}})
    data["coarse"] = [{"name": "2V", "full_scale_vpp": 5.12, "controls": {"r": "2"}}]
    state = make_law(data).predict(Setting(1, 0, 1)).state
    assert (state.control("code"), state.arithmetic_ratio) == (5, 1.0)
