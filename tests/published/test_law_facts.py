"""Step tables and facts of the trade, through laws that are built from device files."""

from __future__ import annotations

import csv
import tomllib
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from harness.config import DeviceFile
from harness.law import KINDS, build
from harness.values import Setting, db_from_ratio

ROOT = Path(__file__).parents[2]
DATA = Path(__file__).parent / "data"


def table(name: str) -> list[dict[str, str]]:
    lines = (line for line in (DATA / name).read_text("utf-8").splitlines() if not line.startswith("#"))
    return list(csv.DictReader(lines))


def shipped(name: str):
    text = (ROOT / "configs" / "devices" / f"{name}.toml").read_text("utf-8")
    return build(DeviceFile.model_validate(tomllib.loads(text)), file=name)


@pytest.mark.parametrize("row", table("db-ratio.csv"), ids=lambda row: f"{row['db']}dB")
def test_decibels_of_the_stages_in_decibels(row: dict[str, str]) -> None:
    # Source: definition of the decibel (IEC 60027-3, from memory), calculated for this project; nine digits in print
    db, ratio = float(row["db"]), float(row["voltage_ratio"])
    amplifier = KINDS["linear-in-db"].model_validate(
        {"control": "c", "bits": 14, "intercept_db": 0.0, "slope_db_per_code": 0.01}
    )
    attenuator = KINDS["step-attenuator"].model_validate({"control": "c", "bits": 14, "step_db": 0.01})
    code = round(100.0 * db)
    assert amplifier.gain_ratio({"c": code}) == pytest.approx(ratio, rel=1e-8)
    assert attenuator.gain_ratio({"c": code}) == pytest.approx(1.0 / ratio, rel=1e-8)


@pytest.mark.parametrize(
    # Source: 256·10^(-dB/20), calculated for this project; realised 6.020600 dB at 128
    ("attenuation_db", "code"), [(0.5, 242), (1, 228), (1.5, 215), (2, 203), (3, 181), (6, 128), (12, 64), (20, 26)],
)  # fmt: skip
def test_codes_of_a_multiplying_converter_as_attenuator(attenuation_db: float, code: int) -> None:
    stage = KINDS["mdac-attenuator"].model_validate({"control": "c", "bits": 8})
    assert round(stage.exact_code(10.0 ** (-attenuation_db / 20.0))) == code
    if code == 128:
        assert db_from_ratio(stage.gain_ratio({"c": code})) == pytest.approx(-6.020600, abs=1e-6)


def test_range_of_a_multiplying_converter_in_the_feedback() -> None:
    # Source: 20·log10(2^14) and the least step above 0 dB, calculated for this project
    stage = KINDS["mdac-feedback"].model_validate({"control": "c", "bits": 14})
    assert db_from_ratio(stage.gain_ratio({"c": 1})) == pytest.approx(84.288399, abs=1e-6)
    assert db_from_ratio(stage.gain_ratio({"c": 16383})) == pytest.approx(0.000530, abs=1e-6)


def test_one_two_five_steps_of_a_switched_amplifier() -> None:
    # Source: sequence ISO 3 (from memory): steps 6.020600, 7.958800, 6.020600 dB
    stage = KINDS["switched-gain"].model_validate(
        {"control": "g", "gains": {"1": 1.0, "2": 2.0, "5": 5.0, "10": 10.0}, "feedback_ohm": 9000.0, "on_ohm": 0.0}
    )
    gains_db = [db_from_ratio(stage.gain_ratio({"g": name})) for name in ("1", "2", "5", "10")]
    steps = [after - before for before, after in pairwise(gains_db)]
    assert steps == pytest.approx([6.020600, 7.958800, 6.020600], abs=1e-6)


def test_on_resistance_takes_half_a_percent_to_five() -> None:
    # Source: common practice, no source: R_on of 50 to 500 ohm costs 0.5 to 5 %, at a ground leg of 10 kohm
    for on_ohm, low, high in ((50.0, 0.004, 0.006), (500.0, 0.04, 0.06)):
        stage = KINDS["switched-gain"].model_validate(
            {"control": "g", "gains": {"100": 100.0}, "feedback_ohm": 990e3, "on_ohm": on_ohm}
        )
        assert low < 1.0 - stage.gain_ratio({"g": "100"}) / 100.0 < high


def test_a_cascade_of_75_ohm_into_1_kohm_loses_seven_percent() -> None:
    # Source: common practice, no source: -7.0 %
    stage = KINDS["loading"].model_validate({"source_ohm": 75.0, "load_ohm": 1000.0})
    assert 100.0 * (stage.gain_ratio({}) - 1.0) == pytest.approx(-7.0, abs=0.05)


def test_the_tarn_vg_1_is_the_vernier_of_the_trade() -> None:
    # Source: common practice, no source; recomputed: 28 dB under 2 dB a step, -11 to 17 and 6 to 34 dB, 11 dB overlap
    law = shipped("tarn-vg-1")
    gains = [[law.predict(Setting(1, c, f)).gain_codes_per_v / 2000.0 for f in range(57)] for c in (0, 1)]
    low, high = (np.asarray([db_from_ratio(gain) for gain in row]) for row in gains)
    assert low[-1] - low[0] == pytest.approx(28.097, abs=5e-4)
    assert np.diff(low).max() == pytest.approx(1.584, abs=5e-4)
    assert (low[0], low[-1], high[0], high[-1]) == pytest.approx((-11.097, 17.0, 5.903, 34.0), abs=1e-3)
    assert high - low == pytest.approx(np.full(57, 17.0), abs=1e-4)
    assert low[-1] - high[0] == pytest.approx(11.097, abs=1e-3)
    codes = [law.predict(Setting(1, 0, f)).state.control("code") for f in (0, 56)]
    assert codes == [5, 127]


def test_the_corrie_ur_2_is_linear_in_decibels() -> None:
    law = shipped("corrie-ur-2")
    gains_db = np.asarray([db_from_ratio(gain) for gain in law.predict_many().gains_codes_per_v]) - db_from_ratio(204.8)
    nominal = np.asarray([20.0 * coarse + 0.5 * fine for coarse in range(5) for fine in range(41)])
    assert gains_db == pytest.approx(nominal, abs=1e-5)  # the intercept is given to 1e-3 dB, and lies within 1e-6
