"""Tolerances propagated: by hand, and against a simulation of many units."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from harness.law import parts
from harness.values import Setting


@pytest.fixture
def toleranced(hr4: dict[str, Any]) -> dict[str, Any]:
    attenuator, pregain, code, loading = hr4["stage"]
    attenuator["tolerance"] = {"1:10": 0.2, "1:100": 0.3}
    pregain["tolerance"] = {"ratio": 0.4}
    code["tolerance"] = {"gain_per_code": 1.0, "inl_lsb": 0.25, "bit_7": 0.1}
    loading["tolerance"] = {"source_ohm": 0.5, "load_ohm": 0.1}
    loading["tolerance_percent"] = 0.05
    return hr4


def test_both_parts_by_hand(toleranced: dict, make_law) -> None:
    law = make_law(toleranced)
    many = law.predict_many(law.index([Setting(1, 3, 0), Setting(1, 9, 20)]))
    # common: gain per code, both resistors with a sensitivity of a half, and the stage itself
    assert many.common_percent == pytest.approx(math.sqrt(1.0**2 + 0.25**2 + 0.05**2 + 0.05**2))
    # 1:10, code 41 without bit 7; then 1:1, pre-gain on, code 255 with bit 7
    assert many.independent_percent[0] == pytest.approx(math.hypot(0.2, 25.0 / 41.0))
    last = math.sqrt(0.4**2 + (25.0 / 255.0) ** 2 + (0.1 * 128.0 / 255.0) ** 2)
    assert many.independent_percent[1] == pytest.approx(last)
    assert many.total_percent == pytest.approx(np.hypot(many.common_percent, many.independent_percent))


def test_each_part_says_where_it_comes_from(toleranced: dict, make_law) -> None:
    law = make_law(toleranced)
    found = {(part.stage, part.parameter): part for part in parts(law.path, law.grid)}
    assert found["variable gain", "gain_per_code"].common
    assert found["output loading", "source_ohm"].half_width_percent == pytest.approx(0.25)
    pregain = found["pre-gain", "ratio"]
    assert not pregain.common
    assert set(np.round(np.unique(pregain.half_width_percent), 12)) == {0.0, 0.4}
    assert np.shape(pregain.half_width_percent) == (231,)
    # code steps are an error of their own in each code, though every setting has them
    assert not found["variable gain", "inl_lsb"].common


def test_setting_tolerances_of_any_kind(hr4: dict, make_law) -> None:
    hr4["stage"][3]["tolerance"] = {"setting": 0.3, "setting_db": 0.1}
    many = make_law(hr4).predict_many()
    assert many.common_percent == 0.0
    expected = math.hypot(0.3, 100.0 * math.log(10.0) / 20.0 * 0.1)
    assert many.independent_percent == pytest.approx(np.full(231, expected))


def test_no_tolerances_no_spread(law) -> None:
    many = law.predict_many()
    assert many.common_percent == 0.0
    assert not many.independent_percent.any()


def test_a_compressing_stage_has_a_spread_of_its_own(hr4: dict, make_law) -> None:
    hr4["stage"][2]["corrections"] = {"compression_vpk": 0.5}
    hr4["stage"][2]["tolerance"] = {"compression_vpk": 10.0}
    law = make_law(hr4)
    many = law.predict_many(law.index([Setting(1, 9, 0)]))
    level_vpk = 0.75 * 4096.0 / 2000.0 / (102.0 * 128.0 / 255.0)
    lost = (level_vpk / 0.5) ** 2 / 4.0
    assert many.independent_percent == pytest.approx([10.0 * 2.0 * lost / (1.0 - lost)])


def test_against_simulated_units(toleranced: dict, make_law) -> None:
    """Every parameter drawn with the half width as standard deviation: the scatter of ln G is the spread."""
    law = make_law(toleranced)
    rng = np.random.default_rng(23)
    logs = np.log(law.predict_many().gains_codes_per_v)
    draws = np.zeros((4000, logs.size))
    for part in parts(law.path, law.grid):
        size = np.asarray(part.half_width_percent) / 100.0
        shape = (4000, 231) if part.parameter == "inl_lsb" else (4000, 1)
        draws += size * rng.standard_normal(shape)
    scatter_percent = 100.0 * np.std(draws, axis=0)
    assert scatter_percent == pytest.approx(law.predict_many().total_percent, rel=0.06)  # 1.1 % for 4000 draws
    # steps between neighbours: the common part is gone
    steps = draws[:, 1:] - draws[:, :-1]
    assert 100.0 * np.std(steps, axis=0).max() < 1.5
    assert law.predict_many().common_percent > 1.0
